using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;

namespace IrrigationFhir.Rest;

/// <summary>The definitions of search parameters, those of ours as resources: they come from <see cref="IndexedTypes"/>.</summary>
internal static class OwnSearchParameters
{
    /// <summary>The canonical address of a parameter's definition.</summary>
    public static string Canonical(IndexedParameter parameter, Profiles profiles) =>
        parameter.Own is null ? parameter.Definition : $"{profiles.CanonicalBase}/SearchParameter/{parameter.Definition}";

    /// <summary>How FHIR calls its type.</summary>
    public static SearchParamType TypeOf(IndexedParameter parameter) =>
        parameter switch
        {
            IndexedParameter.Date or IndexedParameter.Moment or IndexedParameter.LastUpdated => SearchParamType.Date,
            IndexedParameter.Subject or IndexedParameter.Reference => SearchParamType.Reference,
            IndexedParameter.Quantity => SearchParamType.Quantity,
            IndexedParameter.CodeAndQuantity => SearchParamType.Composite,
            IndexedParameter.Canonical => SearchParamType.Uri,
            IndexedParameter.Text => SearchParamType.String,
            _ => SearchParamType.Token,
        };

    /// <summary>A SearchParameter for each one that R4 lacks.</summary>
    public static IEnumerable<SearchParameter> All(Profiles profiles) =>
        from type in IndexedTypes.All
        from parameter in type.Parameters
        let own = parameter.Own
        where own is not null
        select new SearchParameter
        {
            Id = parameter.Definition,
            Url = Canonical(parameter, profiles),
            Name = string.Concat(parameter.Definition.Split('-').Select(word => char.ToUpperInvariant(word[0]) + word[1..])),
            Status = PublicationStatus.Active,
            Description = own.Description,
            Code = parameter.Name,
            BaseElement = [new() { JsonValue = type.Name }],
            Type = TypeOf(parameter),
            Expression = own.Expression,
            MultipleOr = true,
            MultipleAnd = true,
        };
}
