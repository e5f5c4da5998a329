Profile: BodyWeight
Parent: Observation
Id: body-weight
Title: "Body weight"
Description: "The weight that rates per kilogram rest on, with its kind: guidelines do not say which is meant. An actual, stated or estimated weight keeps the vital-signs profile of R4 as well; an ideal or dosing weight is worked out and is no vital sign."
* insert Published
* insert SubjectAndTime
* code from body-weight-code (required)
* value[x] only Quantity
* valueQuantity = 'kg'
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* method 1..1
* method from weight-kind (required)
* obeys ifh-value-or-reason and bw-kind and bw-above-zero and ifh-ucum

Invariant: bw-kind
Description: "Each kind of weight has the code of its kind: LOINC 29463-7 for an actual, stated or estimated one, 3141-9 beside it only if it was measured, 50064-5 for an ideal one, none for a dosing weight."
Severity: #error
Expression: "(code.coding.code contains '29463-7') = (method.coding.code contains 'actual' or method.coding.code contains 'stated' or method.coding.code contains 'estimated') and (code.coding.code contains '3141-9') = (method.coding.code contains 'actual') and (code.coding.code contains '50064-5') = (method.coding.code contains 'ideal')"

Invariant: bw-above-zero
Description: "A weight is more than 0 kg."
Severity: #error
Expression: "value.empty() or value.value > 0"

Instance: body-weight-example
InstanceOf: BodyWeight
Usage: #example
Description: "Weighed on the morning of the irrigation."
* insert InventedPatient
* status = #final
* category = $category#vital-signs "Vital Signs"
* code.coding[0] = $loinc#29463-7 "Body weight"
* code.coding[1] = $loinc#3141-9 "Body weight Measured"
* code.coding[2] = $observation#body-weight "Body weight"
* effectiveDateTime = "2026-03-02T07:30:00+01:00"
* valueQuantity = 70 'kg' "kg"
* method = $weight-kind#actual "Weighed"
