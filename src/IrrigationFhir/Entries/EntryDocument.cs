using System.ComponentModel;

namespace IrrigationFhir.Entries;

/// <summary>The shape of an entry for the contract. Reading is done by <see cref="EntryReader"/>, which names every problem with its path.</summary>
internal sealed record EntryDocument
{
    [Description("Who sends: a ward system, a gateway, a device. With id it identifies the entry.")]
    public required string Source { get; init; }

    [Description("The sender's id of the entry, unique per source. Sending it again with the same content changes nothing.")]
    public required string Id { get; init; }

    [Description("What happened: bag-hung, bag-read, bag-taken-down, irrigant-instilled, flow-set, pump-total-read, drainage-emptied, drainage-level-read, drainage-weighed, leak-estimated, urine-collected, drain-clamped, drain-released, bladder-scanned, bladder-palpated, drainage-appearance, tolerance-noted, order-set, identity-checked, weight-measured, catheter-inserted, catheter-removed, closed-system-opened, indication-reviewed, washout-performed, escalated, flag-acknowledged.")]
    public required string Kind { get; init; }

    [Description("When it happened (RFC 3339, with seconds and offset). For a period give from and to instead.")]
    public string? At { get; init; }

    [Description("Start of a period.")]
    public string? From { get; init; }

    [Description("End of a period.")]
    public string? To { get; init; }

    [Description("When it was charted, if known.")]
    public string? RecordedAt { get; init; }

    [Description("final (default), or entered-in-error to withdraw the entry of this source and id.")]
    public string? Status { get; init; }

    [Description("How it was measured: label, graduation, weighed, pump, syringe, drops, scan, estimate.")]
    public string? How { get; init; }

    [Description("Who did or saw it.")]
    public string? Performer { get; init; }

    [Description("The device that measured it.")]
    public string? Device { get; init; }

    [Description("clinical (default), test, demo or calibration: only clinical entries count.")]
    public string? Purpose { get; init; }

    [Description("Free text.")]
    public string? Note { get; init; }

    [Description("Irrigation line; \"1\" where there is only one.")]
    public string? Line { get; init; }

    [Description("Drainage container; \"1\" where there is only one.")]
    public string? Container { get; init; }

    [Description("The amount, for kinds that have one: labelled, instilled, emptied, leaked, collected or scanned. Units: mL, L.")]
    public QuantityDocument? Volume { get; init; }

    [Description("What is left in the bag (bag-read, bag-taken-down).")]
    public QuantityDocument? Remaining { get; init; }

    [Description("The level in the container, not emptied (drainage-level-read).")]
    public QuantityDocument? Level { get; init; }

    [Description("The counter of the pump (pump-total-read).")]
    public QuantityDocument? Total { get; init; }

    [Description("The flow (flow-set): mL/h, mL/min, L/h, or {drop}/min together with dropFactor. 0 stops it.")]
    public QuantityDocument? Rate { get; init; }

    [Description("Drop factor of the giving set, {drop}/mL: required with drops.")]
    public QuantityDocument? DropFactor { get; init; }

    [Description("What the scale showed (drainage-weighed): g, kg.")]
    public QuantityDocument? Mass { get; init; }

    [Description("The route of urine-collected: void, condom-catheter, straight-catheter, urethral-catheter, suprapubic-catheter, left-nephrostomy, right-nephrostomy, left-ureteral-stent, right-ureteral-stent, ileal-conduit.")]
    public string? Route { get; init; }
}

/// <summary>A value with its UCUM unit.</summary>
internal sealed record QuantityDocument
{
    [Description("The number; a measured one is 0 or more.")]
    public required decimal Value { get; init; }

    [Description("A UCUM unit, from the closed list for its place.")]
    public required string Unit { get; init; }
}
