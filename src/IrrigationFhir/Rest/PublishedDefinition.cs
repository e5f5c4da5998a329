namespace IrrigationFhir.Rest;

/// <summary>A definition of ours that is no resource of R4, for whoever publishes definitions: a view, for one.</summary>
/// <param name="Type">Its resource type.</param>
/// <param name="Id">Its id.</param>
/// <param name="Url">Its canonical URL.</param>
/// <param name="Version">Its version.</param>
/// <param name="Title">What it is called.</param>
/// <param name="Description">What it is.</param>
/// <param name="Text">Its JSON, for people.</param>
internal sealed record PublishedDefinition(
    string Type,
    string Id,
    string Url,
    string Version,
    string Title,
    string Description,
    ReadOnlyMemory<byte> Text
);
