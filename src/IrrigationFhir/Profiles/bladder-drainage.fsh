Profile: BladderDrainage
Parent: Observation
Id: bladder-drainage
Title: "Bladder drainage"
Description: "Everything that left the bladder since the previous reading: irrigant, urine and blood together. Raw mixed drainage is never coded as urine output."
* insert Published
* insert SubjectAndTime
* insert VolumeOrReason
* code = $observation#bladder-drainage-total
* code.coding 3..*
* method from measuring-way (required)
* insert ComponentsByCode(#open)
* component contains container-emptied 0..1 and container-mass 0..1
* component[container-emptied].code = $observation#container-emptied
* component[container-emptied].value[x] 1..1
* component[container-emptied].value[x] only boolean
* insert QuantityComponent(container-mass, g)
* obeys bd-standard-codes and bd-not-urine and ifh-component-value-or-reason and ifh-ucum

Invariant: bd-standard-codes
Description: "The local code is accompanied by SNOMED CT 251843005 (fluid output from drain) and MDC 157740 (drainage volume in bag)."
Severity: #error
Expression: "code.coding.code contains '251843005' and code.coding.code contains '157740'"

Invariant: bd-not-urine
Description: "Mixed drainage carries no urine-output code, or whoever sums urine counts the irrigant with it. LOINC has no code for mixed drainage, so any LOINC code here is a wrong one."
Severity: #error
Expression: "(code.coding.system contains 'http://loinc.org').not() and (code.coding.code contains '364201005').not() and (code.coding.code contains '157744').not()"

Instance: bladder-drainage-example
InstanceOf: BladderDrainage
Usage: #example
Description: "The drainage bag emptied and weighed at 14:10."
* insert InventedPatient
* status = #final
* code.coding[0] = $observation#bladder-drainage-total "Total bladder drainage"
* code.coding[1] = $sct#251843005 "Fluid output from drain (observable entity)"
* code.coding[2] = $mdc#157740 "Drainage volume in bag"
* effectivePeriod.start = "2026-03-02T08:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:10:00+01:00"
* valueQuantity = 3450 'mL' "mL"
* method = $measuring#weighed "Weighed"
* component[container-emptied].code = $observation#container-emptied "Container emptied"
* component[container-emptied].valueBoolean = true
* component[container-mass].code = $observation#container-mass "Mass of the container's content"
* component[container-mass].valueQuantity = 3470.7 'g' "g"
