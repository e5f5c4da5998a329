namespace Irrigation.Flags;

/// <summary>
/// The cautions that travel with flags, handover and numbers (src/Irrigation/README.md, section 6). Local protocol, the order and licensed
/// practice prevail.
/// </summary>
public static class Cautions
{
    /// <summary>For every flag.</summary>
    public const string Prompt =
        "A prompt to look at the patient, never a diagnosis. Local protocol, the order and licensed practice prevail.";

    /// <summary>Outflow stops or slows (teaching texts; Transl Androl Urol, article 73386).</summary>
    public const string Outflow =
        "Stop the inflow first. Check for kinks, position, clots and distension. "
        + "Do not raise the flow, do not clamp the drainage, and call for help.";

    /// <summary>A clamp past its time (common practice, no source; the order).</summary>
    public const string ReleaseClamp =
        "Release the clamp now, unless whoever ordered it says otherwise. See that it drains, and read what comes. "
        + "If nothing comes, let nothing more run in, look for kinks, clots and distension, and call for help.";

    /// <summary>A clamped drain that nobody watches (common practice, no source).</summary>
    public const string Attend = "Go to the patient now, and look at the clamp, the bladder and how it is borne.";

    /// <summary>What is done and what was ordered differ (common practice, no source).</summary>
    public const string Order = "Check the order with whoever gave it, and the patient by two identifiers, before anything is changed.";

    /// <summary>Irrigant runs into a bladder that is shut (the mass balance).</summary>
    public const string InflowIntoClamp =
        "Stop the inflow first. Then release the clamp, unless the order wants it shut, and see that it drains. "
        + "Look for distension, and call for help if nothing drains.";

    /// <summary>Manual washout (teaching texts).</summary>
    public const string NeverForce = "Never force irrigant. If what was instilled cannot be drawn back, stop and call.";

    /// <summary>A return that is short (common practice, no source; teaching texts).</summary>
    public const string ShortReturn =
        "Do not force, and instil no more. Look for position, kinks, clots and distension, and call. "
        + "What stays behind may be held in the bladder, lost beside the catheter, or misread.";

    /// <summary>Deficits.</summary>
    public const string NotAbsorption = "A deficit is not absorption: retention, leakage, absorption and measuring errors look alike.";

    /// <summary>Urine output.</summary>
    public const string ConfirmFirst = "Confirm the measurement first. Urine output alone is not acute kidney injury.";

    /// <summary>Spinal cord injury at or above T6 (Can-SCIP / PVA 2020).</summary>
    public const string Dysreflexia =
        "Sit the patient up, loosen what is tight, find the trigger, take the blood pressure every 1 to 2 min. "
        + "Distension or irrigation can trigger autonomic dysreflexia, and it may be silent. "
        + "More than 20 mmHg systolic over the baseline counts in adults.";

    /// <summary>Colours.</summary>
    public const string Colour = "Colour is read by people; grades mean something only on their own scale.";

    /// <summary>Readings off graduations while irrigant runs.</summary>
    public const string Graduations =
        "Values read off graduations under continuous irrigation carry a wide interval; look whether it covers the threshold.";

    /// <summary>What is not on record.</summary>
    public const string MissingIsNotZero = "Missing data are not zeros; late and corrected entries may change an earlier flag.";

    /// <summary>Closed system and catheter days (CDC/HICPAC 2009).</summary>
    public const string KeepClosed =
        "Keep the system closed; irrigate only when obstruction is expected or it is ordered; "
        + "routine irrigation of long-term catheters is not recommended.";

    /// <summary>Medicated and hypotonic irrigants (labels, papers).</summary>
    public const string Irrigant = "Check the order, allergy, renal function, mucosal integrity and the days of use.";

    /// <summary>Large volumes (teaching texts).</summary>
    public const string Cooling = "Large volumes at room temperature can cool the patient.";
}
