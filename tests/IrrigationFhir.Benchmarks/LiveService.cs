using System.Collections.Concurrent;
using System.Diagnostics;
using System.Globalization;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Demo;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// The service with a clock that follows what is charted, two minutes behind it: entries arrive about when they were charted, as on a
/// ward. By the system's clock everything invented would be years late, and flags would be worked out as nobody ever asks for them.
/// </summary>
internal static class LiveService
{
    /// <summary>The header that says when the latest entry of a request was charted.</summary>
    public const string ChartedAt = "X-Charted-At";

    /// <summary>Where the process says what it allocated since it started, in bytes.</summary>
    public const string Allocated = "/benchmark/allocated";

    /// <summary>Where the process says how long each step took it since it started: <c>name=ticks</c>, with semicolons between.</summary>
    public const string StepsTaken = "/benchmark/steps";

    /// <summary>Where the process says what time its clock shows.</summary>
    public const string Now = "/benchmark/now";

    /// <summary>Where the process says what processor time it used, in ticks of 100 ns.</summary>
    public const string Processor = "/benchmark/processor";

    /// <summary>Before the settings: what is read is not recorded, to see what that costs.</summary>
    public const string Unrecorded = "unrecorded";

    private static readonly TimeSpan Late = TimeSpan.FromMinutes(2);

    /// <summary>Serves until it is killed.</summary>
    public static async Task<int> Serve(string[] args)
    {
        var recorded = args is not [Unrecorded, ..];
        if (!recorded)
            args = args[1..];
        var clock = new NightClock(LastStored(args) ?? InventedIrrigation.Start.ToDateTimeOffset());
        var app = Service.Build(args, clock);
        app.Services.GetRequiredService<AuditTrail>().RecordsReads = recorded;
        var gate = new Lock();
        app.Use(
            (context, next) =>
            {
                if (context.Request.Headers[ChartedAt] is [{ } text])
                {
                    lock (gate)
                        clock.Put(DateTimeOffset.Parse(text, CultureInfo.InvariantCulture) + Late);
                }

                return next(context);
            }
        );
        var steps = new ConcurrentDictionary<string, long>();
        using var listener = new ActivityListener
        {
            ShouldListenTo = source => source.Name == Telemetry.Name,
            Sample = static (ref ActivityCreationOptions<ActivityContext> _) => ActivitySamplingResult.PropagationData,
            ActivityStopped = step => steps.AddOrUpdate(step.OperationName, step.Duration.Ticks, (_, sum) => sum + step.Duration.Ticks),
        };
        ActivitySource.AddActivityListener(listener);
        app.MapGet(StepsTaken, () => string.Join(';', steps.Select(step => $"{step.Key}={step.Value}"))).Needs(AccessNeeds.AnyToken);
        app.MapGet(Allocated, () => Results.Text(GC.GetTotalAllocatedBytes().ToString(CultureInfo.InvariantCulture)))
            .Needs(AccessNeeds.AnyToken);
        app.MapGet(Now, () => clock.GetUtcNow().ToString("O", CultureInfo.InvariantCulture)).Needs(AccessNeeds.Nothing);
        app.MapGet(Processor, () => Environment.CpuUsage.TotalTime.Ticks.ToString(CultureInfo.InvariantCulture)).Needs(AccessNeeds.Nothing);
        app.OpenStore();
        await app.RunAsync();
        return 0;
    }

    /// <summary>How many rows all tables of a store hold.</summary>
    public static long Rows(string folder)
    {
        using var connection = Open(folder);
        var (tables, rows) = (new List<string>(), 0L);
        using (var listed = connection.CreateCommand())
        {
            listed.CommandText = "select name from sqlite_schema where type = 'table'";
            using var reader = listed.ExecuteReader();
            while (reader.Read())
                tables.Add(reader.GetString(0));
        }

        foreach (var table in tables)
        {
            using var counted = connection.CreateCommand();
            counted.CommandText = $"select count(*) from \"{table}\"";
            rows += (long)counted.ExecuteScalar()!;
        }

        return rows;
    }

    /// <summary>A service does not write while its clock stands before what it stored last.</summary>
    private static DateTimeOffset? LastStored(string[] args)
    {
        var folder = args[Array.IndexOf(args, "--Data:Folder") + 1];
        if (Directory.GetFiles(folder, "*.db").Length == 0)
            return null;
        using var connection = Open(folder);
        using var last = connection.CreateCommand();
        last.CommandText = "select max(received_at) from entry";
        return last.ExecuteScalar() is long nanoseconds ? DateTimeOffset.UnixEpoch.AddTicks(nanoseconds / 100) + Late : null;
    }

    private static SqliteConnection Open(string folder)
    {
        var connection = new SqliteConnection($"Data Source={Directory.GetFiles(folder, "*.db")[0]};Mode=ReadOnly;Pooling=False");
        connection.Open();
        return connection;
    }
}
