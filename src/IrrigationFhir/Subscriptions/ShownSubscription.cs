using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;

namespace IrrigationFhir.Subscriptions;

/// <summary>A subscription as its client may see it; everything else is in its row (<see cref="StoredRequest"/>).</summary>
internal static class ShownSubscription
{
    /// <summary>Without the values of headers, and without a narrative, which might repeat them.</summary>
    /// <param name="sent">As it was sent; changed in place.</param>
    /// <param name="id">Its logical id.</param>
    /// <param name="status">Its status.</param>
    /// <param name="error">What went wrong, where the status is error.</param>
    /// <param name="headers">The lines that are stored.</param>
    public static ResourceDraft Of(Subscription sent, string id, string status, string? error, IEnumerable<string> headers)
    {
        sent.Id = id;
        sent.Text = null;
        sent.Meta ??= new();
        if (!sent.Meta.Profile.Contains(Profiles.Backport.Subscription))
            sent.Meta.Profile = [.. sent.Meta.Profile, Profiles.Backport.Subscription];
        sent.Status = EnumUtility.ParseLiteral<Subscription.SubscriptionStatus>(status);
        sent.Error = status == "error" ? error : null;
        sent.Channel.Header = [.. headers.Select(HeaderLines.Shown)];
        return ResourceDraft.Of(sent);
    }
}
