// Enumerated parts of standard code systems. Required bindings to them make the offline check a real one.

ValueSet: OutputStatus
Id: output-status
Title: "Status of a urine output"
Description: "Statuses a computed urine output can have."
* insert Published
* $status#final
* $status#preliminary
* $status#corrected
* $status#amended
* $status#entered-in-error

ValueSet: AbsentReason
Id: absent-reason
Title: "Reasons for a missing value"
Description: "temp-unknown: not yet; not-performed: nobody measured; error: input contradicts itself; unknown: cannot be told."
* insert Published
* $absent#temp-unknown "Temporarily Unknown"
* $absent#not-performed "Not Performed"
* $absent#error "Error"
* $absent#unknown "Unknown"

ValueSet: OutputUnit
Id: output-unit
Title: "Units of a urine output"
Description: "UCUM units: a volume, or a rate over exactly one, eight, twelve or twenty-four hours."
* insert Published
* $ucum#mL
* $ucum#mL/h
* $ucum#mL/(8.h)
* $ucum#mL/(12.h)
* $ucum#mL/d

ValueSet: UrineOutputCode
Id: urine-output-code
Title: "Corrected urine output codes"
Description: "Of a closed interval, and of each kind of window: four series, of which only that of closed intervals may be added up."
* insert Published
* $observation#urine-output-corrected
* $observation#urine-output-hour
* $observation#urine-output-shift
* $observation#urine-output-day

ValueSet: FlowUnit
Id: flow-unit
Title: "Units of an irrigant flow"
Description: "UCUM units: millilitres per hour, or drops per minute. Never [drp]/min, which fixes 20 drops to the millilitre."
* insert Published
* $ucum#mL/h
* $ucum#{drop}/min

ValueSet: IrrigantVolumeCode
Id: irrigant-volume-code
Title: "Irrigant volume codes"
Description: "Irrigant instilled, measured or estimated."
* insert Published
* $loinc#9026-6 "Fluid intake urinary bladder irrigation Measured"
* $loinc#9025-8 "Fluid intake urinary bladder irrigation Estimated"

ValueSet: UrineVolumeCode
Id: urine-volume-code
Title: "Urine volume codes"
Description: "Urine collected by a route in general, by nephrostomy, or by in-and-out catheter."
* insert Published
* $observation#urine-collected
* $loinc#79549-2 "Urine output measured by nephrostomy"
* $loinc#9195-9 "Urine output by in and out urethral catheter"

ValueSet: CorrectionActivity
Id: correction-activity
Title: "Correction activities"
Description: "UPDATE: an entry or result was corrected; NULLIFY: it was struck out."
* insert Published
* $operation#UPDATE "revise"
* $operation#NULLIFY "nullify"

ValueSet: ProvenanceAgent
Id: provenance-agent
Title: "Agents of a correction"
Description: "Who said it, who or what brought it in, or the service where it worked it out itself."
* insert Published
* $participant#author "Author"
* $participant#enterer "Enterer"
* $participant#assembler "Assembler"

ValueSet: CriterionUnit
Id: criterion-unit
Title: "Units of a criterion"
Description: "UCUM units: a rate per kilogram, or a volume in the window."
* insert Published
* $ucum#mL/kg/h
* $ucum#mL

ValueSet: BodyWeightCode
Id: body-weight-code
Title: "Body weight codes"
Description: "Body weight, ideal body weight, or (dosing weight) the local code."
* insert Published
* $loinc#29463-7 "Body weight"
* $loinc#50064-5 "Ideal body weight"
* $observation#body-weight

ValueSet: FlagCategory
Id: flag-category
Title: "Categories of a flag"
Description: "What the flag is about: the patient's state, the safety of what is done, or whether the record can be relied on."
* insert Published
* $flag-category#clinical "Clinical"
* $flag-category#safety "Safety"
* $own-flag-category#data-quality "Data quality"

ValueSet: FlagPriority
Id: flag-priority
Title: "Priority of a flag"
Description: "Low, medium or high. R4 has nothing above high; the text says that it is urgent."
* insert Published
* $flag-priority#PL "Low priority"
* $flag-priority#PM "Medium priority"
* $flag-priority#PH "High priority"
