Profile: Tolerance
Parent: Observation
Id: tolerance
Title: "Tolerance of the irrigation"
Description: "How the patient bore it: well or poorly, pain from 0 to 10, bladder spasm."
* insert Published
* insert SubjectAndTime
* code = $observation#procedure-tolerance
* value[x] only CodeableConcept
* valueCodeableConcept from ToleranceCodes (required)
* dataAbsentReason from absent-reason (required)
* insert ComponentsByCode(#closed)
* component contains pain 0..1 and bladder-spasm 0..1
* component[pain].code = $loinc#72514-3
* component[pain].value[x] 1..1
* component[pain].value[x] only Quantity
* component[pain].valueQuantity = '{score}'
* component[pain].valueQuantity.value 1..1
* insert BooleanComponent(bladder-spasm)
* obeys tol-said and tol-pain and ifh-component-value-or-reason

Invariant: tol-said
Description: "A tolerance, a finding, or the reason why there is none."
Severity: #error
Expression: "value.exists() or component.exists() or dataAbsentReason.exists()"

Invariant: tol-pain
Description: "Pain is a whole number from 0 to 10."
Severity: #error
Expression: "component.where(code.coding.code contains '72514-3').value.all(value >= 0 and value <= 10 and value mod 1 = 0)"

Instance: tolerance-example
InstanceOf: Tolerance
Usage: #example
Description: "Poorly tolerated: pain 6 of 10, and spasm."
* insert InventedPatient
* status = #final
* code = $observation#procedure-tolerance "Tolerance of the procedure"
* effectiveDateTime = "2026-03-02T14:15:00+01:00"
* valueCodeableConcept = $tolerance#poor "Poorly tolerated"
* component[pain].code = $loinc#72514-3 "Pain severity - 0-10 verbal numeric rating [Score] - Reported"
* component[pain].valueQuantity = 6 '{score}' "score"
* component[bladder-spasm].code = $observation#bladder-spasm "Bladder spasm"
* component[bladder-spasm].valueBoolean = true
