namespace IrrigationFhir.Store;

/// <summary>The store cannot be served as it is. The message says in one line what was found and what to do.</summary>
/// <remarks>About files and schema only: nothing of a patient is in it.</remarks>
internal sealed class StoreFault(string message, Exception? cause = null) : Exception(message, cause);
