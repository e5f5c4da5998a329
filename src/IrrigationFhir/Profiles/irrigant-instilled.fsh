Profile: IrrigantInstilled
Parent: Observation
Id: irrigant-instilled
Title: "Irrigant instilled"
Description: "Irrigation fluid that ran into the bladder, at an instant (syringe) or over a measured stretch (bag, pump)."
* insert Published
* insert SubjectAndTime
* insert VolumeOrReason
* code = $observation#irrigant-instilled
* code from irrigant-volume-code (required)
* method from measuring-way (required)
* obeys ii-estimated and ifh-ucum

Invariant: ii-estimated
Description: "An estimate does not carry the code of a measured intake."
Severity: #error
Expression: "method.coding.code contains 'estimate' implies (code.coding.code contains '9026-6').not()"

Instance: irrigant-instilled-example
InstanceOf: IrrigantInstilled
Usage: #example
Description: "A bag hung at 08:00 and run to empty at 14:00, its volume as printed on the label."
* insert InventedPatient
* status = #final
* code.coding[0] = $loinc#9026-6 "Fluid intake urinary bladder irrigation Measured"
* code.coding[1] = $observation#irrigant-instilled "Irrigant instilled"
* effectivePeriod.start = "2026-03-02T08:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueQuantity = 3000 'mL' "mL"
* method = $measuring#label "By label"
