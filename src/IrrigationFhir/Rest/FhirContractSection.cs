using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>What the contract says below one address and under one tag: a resource type, or the service as a whole.</summary>
internal sealed class FhirContractSection(OpenApiDocument document, string tag, string address)
{
    /// <summary>The resource type, or another tag.</summary>
    public string Tag => tag;

    /// <summary>Its address, such as <c>/fhir/Observation</c>.</summary>
    public string Address => address;

    /// <summary>Adds a parameter that operations refer to by the name.</summary>
    public void Define(string name, OpenApiParameter parameter) => document.Components!.Parameters![name] = parameter;

    /// <summary>Adds a GET of an address below the section's own.</summary>
    public void Get(string below, OpenApiOperation operation) => Add(HttpMethod.Get, below, operation);

    /// <summary>Adds a POST to an address below the section's own.</summary>
    public void Post(string below, OpenApiOperation operation) => Add(HttpMethod.Post, below, operation);

    /// <summary>Adds a PUT to an address below the section's own.</summary>
    public void Put(string below, OpenApiOperation operation) => Add(HttpMethod.Put, below, operation);

    /// <summary>Adds a DELETE of an address below the section's own.</summary>
    public void Delete(string below, OpenApiOperation operation) => Add(HttpMethod.Delete, below, operation);

    private void Add(HttpMethod method, string below, OpenApiOperation operation)
    {
        operation.Tags = new HashSet<OpenApiTagReference> { new(tag, document) };
        if (!document.Paths.TryGetValue(address + below, out var path))
            document.Paths[address + below] = path = new OpenApiPathItem();
        ((OpenApiPathItem)path).AddOperation(method, operation);
    }
}
