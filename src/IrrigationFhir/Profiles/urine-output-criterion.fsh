Profile: UrineOutputCriterion
Parent: Observation
Id: urine-output-criterion
Title: "Urine-output criterion"
Description: "Whether a criterion of urine output was met over a trailing window: met, not met, indeterminate (the 95 % interval covers the threshold), or not evaluable and why. Beside the answer stands the probability that it is met (JCGM 106:2012). Preliminary while a part is still open. Of urine output alone: a criterion, never a diagnosis."
* insert Published
* subject 1..1
* status from output-status (required)
* code = $observation#urine-output-criterion
* code from UrineOutputCriterionCodes (required)
* effective[x] 1..1
* effective[x] only Period
* effectivePeriod.start 1..1
* effectivePeriod.end 1..1
* value[x] only CodeableConcept
* valueCodeableConcept from criterion-answer (required)
* dataAbsentReason from absent-reason (required)
* method 1..1
* method from criterion-reading (required)
* insert ComponentsByCode(#closed)
* component contains
    criterion-threshold 1..1 and
    criterion-value 0..1 and
    interval-95 0..1 and
    probability-met 0..1 and
    coverage 1..1 and
    body-weight 0..1 and
    weight-kind 0..1 and
    obstacle 0..*
* component[criterion-threshold].code = $observation#criterion-threshold
* component[criterion-threshold].value[x] 1..1
* component[criterion-threshold].value[x] only Quantity
* component[criterion-threshold].valueQuantity from criterion-unit (required)
* component[criterion-threshold].valueQuantity.value 1..1
* component[criterion-threshold].valueQuantity.comparator 0..1
* component[criterion-value].code = $observation#criterion-value
* component[criterion-value].value[x] only Quantity
* component[criterion-value].valueQuantity from criterion-unit (required)
* component[criterion-value].valueQuantity.value 1..1
* component[criterion-value].dataAbsentReason from absent-reason (required)
* insert RangeComponent(interval-95)
* component[interval-95].valueRange.low from criterion-unit (required)
* component[interval-95].valueRange.high from criterion-unit (required)
* insert QuantityComponent(probability-met, %)
* insert QuantityComponent(coverage, %)
* insert QuantityComponent(body-weight, kg)
* insert CodedComponent(weight-kind, weight-kind)
* component[obstacle].code = $observation#obstacle
* component[obstacle].value[x] 1..1
* component[obstacle].value[x] only CodeableConcept
* component[obstacle].valueCodeableConcept from criterion-obstacle (required)
* obeys ifh-value-or-reason and ifh-component-value-or-reason and uoc-obstacle and uoc-met and uoc-probability
* obeys uoc-unit and uoc-weight and uoc-derived-from

Invariant: uoc-obstacle
Description: "Not evaluable says why, and only then something stands in the way."
Severity: #error
Expression: "value.empty() or ((value.coding.code contains 'not-evaluable') = component.where(code.coding.code contains 'obstacle').exists())"

Invariant: uoc-met
Description: "Met means that the whole 95 % interval lies on the criterion's side of the threshold: below it, or above it for polyuria."
Severity: #error
Expression: "value.coding.code contains 'met' implies iif(code.coding.code contains 'polyuria', component.where(code.coding.code contains 'interval-95').value.low.value >= component.where(code.coding.code contains 'criterion-threshold').value.value, component.where(code.coding.code contains 'interval-95').value.high.value <= component.where(code.coding.code contains 'criterion-threshold').value.value)"

Invariant: uoc-probability
Description: "A probability is 0 to 100 %, and comes with the 95 % interval of what it is the probability of."
Severity: #error
Expression: "component.where(code.coding.code contains 'probability-met').all(value.value >= 0 and value.value <= 100 and %resource.component.where(code.coding.code contains 'interval-95').exists())"

Invariant: uoc-unit
Description: "Threshold, value and interval have one unit."
Severity: #error
Expression: "component.where(code.coding.code contains 'criterion-threshold' or code.coding.code contains 'criterion-value').value.code.combine(component.where(code.coding.code contains 'interval-95').value.low.code).combine(component.where(code.coding.code contains 'interval-95').value.high.code).distinct().count() <= 1"

Invariant: uoc-weight
Description: "An answer per kilogram carries the weight and the kind of weight that it rests on."
Severity: #error
Expression: "(component.where(code.coding.code contains 'criterion-threshold').value.code contains 'mL/kg/h' and value.exists() and (value.coding.code contains 'not-evaluable').not()) implies (component.where(code.coding.code contains 'body-weight').value.exists() and component.where(code.coding.code contains 'weight-kind').value.exists())"

Invariant: uoc-derived-from
Description: "An answer names what it was worked out from."
Severity: #error
Expression: "value.empty() or value.coding.code contains 'not-evaluable' or derivedFrom.exists()"

Instance: urine-output-criterion-example
InstanceOf: UrineOutputCriterion
Usage: #example
Description: "0.42 mL/kg/h over six hours, 0.36 to 0.48: stage 1 met by the mean."
* insert InventedPatient
* status = #final
* code.coding[0] = $observation#urine-output-criterion "Urine-output criterion"
* code.coding[1] = $criterion#kdigo-1 "KDIGO urine-output criterion stage 1"
* effectivePeriod.start = "2026-03-02T08:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueCodeableConcept = $answer#met "Met"
* method = $reading#mean-over-window "Mean over the window"
* derivedFrom[0].reference = "Observation/corrected-urine-output-example"
* derivedFrom[1].reference = "Observation/body-weight-example"
* component[criterion-threshold].code = $observation#criterion-threshold "Threshold of the criterion"
* component[criterion-threshold].valueQuantity = 0.5 'mL/kg/h' "mL/kg/h"
* component[criterion-threshold].valueQuantity.comparator = #<
* component[criterion-value].code = $observation#criterion-value "Value compared with the threshold"
* component[criterion-value].valueQuantity = 0.42 'mL/kg/h' "mL/kg/h"
* component[interval-95].code = $observation#interval-95 "95 % interval of the best estimate"
* component[interval-95].valueRange.low = 0.36 'mL/kg/h' "mL/kg/h"
* component[interval-95].valueRange.high = 0.48 'mL/kg/h' "mL/kg/h"
* component[probability-met].code = $observation#probability-met "Probability that the criterion is met"
* component[probability-met].valueQuantity = 99.6 '%' "%"
* component[coverage].code = $observation#coverage "Covered part of the window"
* component[coverage].valueQuantity = 100 '%' "%"
* component[body-weight].code = $observation#body-weight "Body weight"
* component[body-weight].valueQuantity = 80 'kg' "kg"
* component[weight-kind].code = $observation#weight-kind "Kind of weight"
* component[weight-kind].valueCodeableConcept = $weight-kind#actual "Weighed"
