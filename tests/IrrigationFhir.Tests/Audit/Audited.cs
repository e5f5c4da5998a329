using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Audit;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Repository;
using Microsoft.Extensions.DependencyInjection;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Audit;

/// <summary>What a running service has recorded.</summary>
internal static class Audited
{
    /// <summary>Everything that was recorded so far, the oldest first; what waits is stored first.</summary>
    public static async Task<IReadOnlyList<AuditRow>> All(this RunningService ward)
    {
        await ward.Services.GetRequiredService<StoreWaiting>().Flush(CancellationToken.None);
        var page = await ward.Services.GetRequiredService<AuditStore>().Search(new([], 10_000), CancellationToken.None);
        return [.. page.Rows.OrderBy(row => row.Number)];
    }

    /// <summary>What was recorded while something was done.</summary>
    public static async Task<IReadOnlyList<AuditRow>> Of(this RunningService ward, Func<Task> story)
    {
        var before = (await ward.All()).Select(row => row.Number).DefaultIfEmpty(0).Max();
        await story();
        return [.. (await ward.All()).Where(row => row.Number > before)];
    }

    /// <summary>What was recorded, as AuditEvents.</summary>
    public static IReadOnlyList<AuditEvent> Events(this IEnumerable<AuditRow> rows) => [.. rows.Select(AuditEventMapper.ToEvent)];
}
