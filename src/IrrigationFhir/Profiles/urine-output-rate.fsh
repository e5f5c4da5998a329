Profile: UrineOutputRate
Parent: Observation
Id: urine-output-rate
Title: "Urine output rate"
Description: "Corrected urine output of a closed interval, whatever its length, as a rate and per kilogram of the weight in force; published where there is such a weight. It is the quotient of the interval's volume and its period, both of which stand on the Observation that it is derived from. It never carries a timed LOINC code: those stand for exact windows. Numbers prompt a person to look at the patient; they diagnose nothing and command nothing. Local protocol, the order and licensed practice prevail."
* insert Published
* insert OfAnIrrigation
* subject 1..1
* status from output-status (required)
* code = $observation#urine-output-rate
* effective[x] 1..1
* effective[x] only Period
* effectivePeriod.start 1..1
* effectivePeriod.end 1..1
* value[x] only Quantity
* valueQuantity = 'mL/h'
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* method 1..1
* method = $calculation#drainage-minus-irrigant
* insert ComponentsByCode(#closed)
* component contains
    urine-output-rate-per-weight 0..1 and
    interval-95 0..1 and
    body-weight 0..1 and
    weight-kind 0..1
* insert QuantityComponent(urine-output-rate-per-weight, mL/kg/h)
* insert RangeComponent(interval-95)
* component[interval-95].valueRange.low = 'mL/h'
* component[interval-95].valueRange.high = 'mL/h'
* insert QuantityComponent(body-weight, kg)
* insert CodedComponent(weight-kind, weight-kind)
* obeys ifh-value-or-reason and ifh-component-value-or-reason and uor-derived-from and uor-weight and uor-no-standard-code

Invariant: uor-derived-from
Description: "A rate names what it was computed from."
Severity: #error
Expression: "value.empty() or derivedFrom.exists()"

Invariant: uor-weight
Description: "A rate per kilogram carries the weight and the kind of weight that it rests on."
Severity: #error
Expression: "component.where(code.coding.code contains 'urine-output-rate-per-weight').value.exists() implies (component.where(code.coding.code contains 'body-weight').value.exists() and component.where(code.coding.code contains 'weight-kind').value.exists())"

Invariant: uor-no-standard-code
Description: "A rate over an interval of any length carries no LOINC code: LOINC has rates for exact windows only, and no rate per kilogram."
Severity: #error
Expression: "(code.coding.system contains 'http://loinc.org').not()"

Instance: urine-output-rate-example
InstanceOf: UrineOutputRate
Usage: #example
Description: "210 mL in six hours of a patient of 70 kg: 35 mL/h, 0.5 mL/kg/h."
* insert InventedPatient
* partOf.reference = "Procedure/bladder-irrigation-example"
* status = #final
* code = $observation#urine-output-rate "Urine output rate"
* effectivePeriod.start = "2026-03-02T08:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueQuantity = 35 'mL/h' "mL/h"
* method = $calculation#drainage-minus-irrigant "Drainage minus irrigant"
* derivedFrom[0].reference = "Observation/corrected-urine-output-example"
* derivedFrom[1].reference = "Observation/body-weight-example"
* component[urine-output-rate-per-weight].code = $observation#urine-output-rate-per-weight "Urine output rate per body weight"
* component[urine-output-rate-per-weight].valueQuantity = 0.5 'mL/kg/h' "mL/kg/h"
* component[interval-95].code = $observation#interval-95 "95 % interval of the best estimate"
* component[interval-95].valueRange.low = 28 'mL/h' "mL/h"
* component[interval-95].valueRange.high = 42 'mL/h' "mL/h"
* component[body-weight].code = $observation#body-weight "Body weight"
* component[body-weight].valueQuantity = 70 'kg' "kg"
* component[weight-kind].code = $observation#weight-kind "Kind of weight"
* component[weight-kind].valueCodeableConcept = $weight-kind#actual "Weighed"
