using System.Globalization;
using IrrigationFhir.Benchmarks;

CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
if (args is ["serve", .. var settings])
    return await LiveService.Serve(settings);
if (args is ["turns", var other])
{
    await ServiceCosts.MeasureInTurns(Console.Out, other);
    return 0;
}

var asked = args is [var only] ? only : "";
if (
    asked
    is not ("core" or "http" or "load" or "bundles" or "search" or "notifications" or "ward" or "export" or "access" or "soak" or "all")
)
{
    Console.Error.WriteLine(
        "say what to measure: core (append and balance, in memory), http (the running service on loopback), "
            + "load (of that only what an entry costs; BENCHMARK_STORE names a folder that is kept), "
            + "bundles (FHIR batches of ten to a thousand), "
            + "search (its searches among a million Observations, which takes some 10 GB of disk and twenty minutes), "
            + "notifications (how soon 1,000 subscribers are told), ward (the list of 1,000 beds), "
            + "export (reading a store out), access (with tokens against open, and what recording a read takes), "
            + "soak (half an hour at moderate load), all, "
            + "or turns FOLDER (load, in turns with the build of these benchmarks in that folder)"
    );
    return 1;
}

Console.WriteLine(Machine.Describe());
if (asked is "core" or "all")
    CoreCosts.Measure(Console.Out);
if (asked is "http" or "all")
    await ServiceCosts.Measure(Console.Out);
if (asked is "load")
    await ServiceCosts.MeasureLoad(Console.Out);
if (asked is "bundles" or "all")
    await BundleCosts.Measure(Console.Out);
if (asked is "search" or "all")
    await SearchCosts.Measure(Console.Out);
if (asked is "notifications" or "all")
    await NotificationCosts.Measure(Console.Out);
if (asked is "ward" or "all")
    await WardCosts.Measure(Console.Out);
if (asked is "export" or "all")
    await ExportCosts.Measure(Console.Out);
if (asked is "access" or "all")
    await AccessCosts.Measure(Console.Out);
if (asked is "soak")
    await Soak.Measure(Console.Out);
return 0;
