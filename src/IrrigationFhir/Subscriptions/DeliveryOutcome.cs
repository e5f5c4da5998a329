namespace IrrigationFhir.Subscriptions;

/// <summary>What became of delivering to a subscription whatever waits for it.</summary>
internal abstract record DeliveryOutcome
{
    /// <summary>Nothing is left to deliver for now, or the subscription has ended or is in error.</summary>
    public sealed record NothingLeft : DeliveryOutcome;

    /// <summary>An attempt failed, and another is to be made.</summary>
    /// <param name="RetryAfter">When the endpoint asked to be tried again; null where it did not.</param>
    public sealed record Failed(TimeSpan? RetryAfter) : DeliveryOutcome;
}
