// Hl7.Fhir.Model brings its own Task and Range; these two aliases end the ambiguity.
global using Task = System.Threading.Tasks.Task;
