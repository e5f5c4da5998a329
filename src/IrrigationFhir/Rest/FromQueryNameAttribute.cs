using Microsoft.AspNetCore.Mvc;

namespace IrrigationFhir.Rest;

/// <summary>A query parameter whose name is no C# name.</summary>
internal sealed class FromQueryNameAttribute : FromQueryAttribute
{
    /// <summary>A parameter of this name.</summary>
    public FromQueryNameAttribute(string name) => Name = name;
}
