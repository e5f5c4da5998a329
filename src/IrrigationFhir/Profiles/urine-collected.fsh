Profile: UrineCollected
Parent: Observation
Id: urine-collected
Title: "Urine collected by another route"
Description: "Urine that did not pass the irrigated catheter's drainage: voided, by another catheter, nephrostomy, stent or conduit, or by the urethral catheter while nothing irrigated it."
* insert Published
* insert SubjectAndTime
* insert VolumeOrReason
* code = $observation#urine-collected
* code from urine-volume-code (required)
* method 1..1
* method from urine-route (required)
* obeys uc-route-code and ifh-ucum

Invariant: uc-route-code
Description: "Nephrostomy and in-and-out catheter have their own LOINC codes; every other route has the local code alone: the generic one, 9187-6, is that of closed intervals, which such urine is counted in."
Severity: #error
Expression: "(code.coding.code contains '79549-2') = (method.coding.code contains 'left-nephrostomy' or method.coding.code contains 'right-nephrostomy') and (code.coding.code contains '9195-9') = (method.coding.code contains 'straight-catheter') and (code.coding.code contains '9187-6').not()"

Instance: urine-collected-example
InstanceOf: UrineCollected
Usage: #example
Description: "Six hours of a left nephrostomy."
* insert InventedPatient
* status = #final
* code.coding[0] = $loinc#79549-2 "Urine output measured by nephrostomy"
* code.coding[1] = $observation#urine-collected "Urine collected by another route"
* effectivePeriod.start = "2026-03-02T08:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueQuantity = 180 'mL' "mL"
* method = $urine-route#left-nephrostomy "Left nephrostomy"
