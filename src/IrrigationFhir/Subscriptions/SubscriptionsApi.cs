using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Subscriptions;

/// <summary>
/// Who is told of what: create and update of Subscriptions, <c>$status</c>, <c>$events</c>. Reading and searching them is the FHIR API's.
/// </summary>
internal static class SubscriptionsApi
{
    /// <summary>Said in the CapabilityStatement: what a subscriber has to know and the guide leaves open.</summary>
    public const string Policy =
        "Subscriptions follow the Subscriptions R5 Backport guide 1.1.0 for R4: criteria is the canonical of a topic, "
        + "filters stand in backport-filter-criteria (several are AND, commas OR), "
        + "as Flag?code=no-drainage or Flag.code=no-drainage; the channel is rest-hook with FHIR JSON, "
        + "and backport-payload-content says how much is sent; full-resource goes to https alone. "
        + "What cannot be honoured is refused at once, with every problem named. A new one is requested, "
        + "and active once its endpoint has answered a handshake; another endpoint is asked anew. "
        + "A client sets requested or off, the service active and error; nothing is deleted: set status off. "
        + "A topic cannot be changed; with other filters what waits is not told any more, and left to $events; "
        + "with another endpoint the values of headers have to be said again. "
        + "Values of channel.header are kept apart and read as (withheld); sent back so, the stored value stays, "
        + "unless the endpoint is another. A narrative is not kept. If-None-Exist is refused. "
        + "Delivery is at least once: go by event-number, which counts without gaps, and ask $events for what is missing.";

    /// <summary>Adds it. Needs what <see cref="NotificationsSetup.AddNotifications"/> adds.</summary>
    public static IServiceCollection AddSubscriptions(this IServiceCollection services) =>
        services
            .AddSingleton<ChangeSubscription>()
            .AddSingleton<SubscriptionQueries>()
            .AddSingleton(service =>
                Table(service.GetRequiredService<SubscriptionQueries>(), service.GetRequiredService<Vocabulary>().Profiles)
            )
            .AddSingleton<CapabilityClaim>(service => statement => Claim(statement, service.GetRequiredService<Vocabulary>().Profiles));

    /// <summary>Maps the routes that change something; the others are in the table that <see cref="AddSubscriptions"/> adds.</summary>
    public static void MapSubscriptions(this IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup($"{FhirBase.Path}/Subscription")
            .AddEndpointFilter(Negotiation.RequireJson)
            .AddEndpointFilter(FhirApi.RequireExactCase)
            .ExcludeFromDescription();
        fhir.MapPost("", Create).TakesLittle(app.ServiceProvider).Needs(AccessNeeds.Whole(("Subscription", Letters.Create))).Changes();
        fhir.MapPut("/{id}", Update).TakesLittle(app.ServiceProvider).Needs(AccessNeeds.Whole(("Subscription", Letters.Update))).Changes();
    }

    private static AccessNeeds Read => AccessNeeds.Of("Subscription", Letters.Read);

    /// <summary>What is read of subscriptions and topics beside the resources that are kept.</summary>
    private static ReadableFhir Table(SubscriptionQueries queries, Profiles profiles) =>
        new([
            new("Basic/{id}", asked => Task.FromResult(Topic(asked, profiles)), AccessNeeds.AnyToken),
            new("Subscription/$status", asked => queries.Status(asked, null), Read) { Posted = PostedBody.ParametersOrNothing },
            new("Subscription/{id}/$status", asked => queries.Status(asked, asked.Id), Read) { Posted = PostedBody.ParametersOrNothing },
            new("Subscription/{id}/$events", queries.Events, Read) { Posted = PostedBody.ParametersOrNothing },
        ]);

    private static IFhirAnswer Topic(FhirQuestion asked, Profiles profiles)
    {
        if (Topics.All.FirstOrDefault(topic => topic.Slug == asked.Id) is not { } found)
            return new OutcomeResult(
                StatusCodes.Status404NotFound,
                Outcome.Problem(
                    "unknown-resource",
                    "a Basic that is not there",
                    $"the id of a topic: {string.Join(", ", Topics.All.Select(topic => topic.Slug))}",
                    null
                )
            );
        var (shape, problems) = Shaping.OfRead(asked.Query);
        var published = NodaTime
            .Text.LocalDatePattern.Iso.Parse(Profiles.PublishedOn)
            .Value.AtStartOfDayInZone(NodaTime.DateTimeZone.Utc)
            .ToInstant();
        return shape is null
            ? new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems))
            : new ResourceResult(
                new("Basic", asked.Id, 1, published, FhirJson.Write(SubscriptionTopicMapper.ToBasic(found, profiles))),
                shape
            );
    }

    private static async Task<IResult> Create(HttpContext http, ChangeSubscription change, FhirSettings settings, CancellationToken stop)
    {
        if (http.Request.Headers.ContainsKey("If-None-Exist"))
            return new OutcomeResult(
                StatusCodes.Status400BadRequest,
                Outcome.Problem(
                    "not-understood",
                    "a conditional create",
                    "no If-None-Exist: search first, by url, criteria or status",
                    "If-None-Exist"
                )
            );
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused ?? Reply(await change.Create(json, Caller.Of(http), stop), http, settings);
    }

    private static async Task<IResult> Update(
        HttpContext http,
        string id,
        ChangeSubscription change,
        FhirSettings settings,
        CancellationToken stop
    )
    {
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused
            ?? Reply(await change.Update(id, json, EntityTags.Named(http.Request.Headers.IfMatch), Caller.Of(http), stop), http, settings);
    }

    private static IResult Reply(Written written, HttpContext http, FhirSettings settings) =>
        written switch
        {
            Written.Refused refused => new OutcomeResult(refused.Status, refused.Outcome),
            Written.Stands stands => new WrittenResult(stands, FhirBase.Of(http.Request, settings)),
            _ => throw new InvalidOperationException($"{written.GetType().Name} has no reply."),
        };

    private static void Claim(CapabilityStatement statement, Profiles profiles)
    {
        var topics = Topics.All.Select(topic => $"Basic/{topic.Slug}");
        statement
            .Rest[0]
            .Resource.Add(
                new()
                {
                    TypeElement = new() { JsonValue = "Basic" },
                    Documentation = $"The topics that can be subscribed to, as R4 can hold them: {string.Join(", ", topics)}.",
                    Interaction = [new() { Code = CapabilityStatement.TypeRestfulInteraction.Read }],
                }
            );
        var resource = statement.Rest[0].Resource.Single(r => (string?)r.TypeElement!.JsonValue == "Subscription");
        resource.Documentation = Policy;
        resource.SupportedProfile = [Profiles.Backport.Subscription];
        resource.Extension.AddRange(
            Topics.All.Select(topic => new Extension(
                Profiles.Backport.CapabilityTopic,
                new Canonical(profiles.SubscriptionTopic(topic.Slug))
            ))
        );
        resource.Interaction.Add(new() { Code = CapabilityStatement.TypeRestfulInteraction.Create });
        resource.Interaction.Add(
            new() { Code = CapabilityStatement.TypeRestfulInteraction.Update, Documentation = "Of one that came by create." }
        );
        resource.Operation.Add(
            new()
            {
                Name = "status",
                Definition = Profiles.Backport.StatusOperation,
                Documentation = SubscriptionQueries.StatusPolicy,
            }
        );
        resource.Operation.Add(
            new()
            {
                Name = "events",
                Definition = Profiles.Backport.EventsOperation,
                Documentation = SubscriptionQueries.EventsPolicy,
            }
        );
    }
}
