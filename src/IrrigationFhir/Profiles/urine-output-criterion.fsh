Profile: UrineOutputCriterion
Parent: Observation
Id: urine-output-criterion
Title: "Urine-output criterion"
Description: "Whether a criterion of urine output is met: met, not met, indeterminate (the 95 % interval covers the threshold), or not evaluable and why. One Observation for each criterion of an irrigation, judged at the last closing of each clock hour and published anew when an answer changes, so that its history is its answers; an answer stands until another version says otherwise. Its numbers are those of the moment at which the answer changed, over the window that is the effectivePeriod; from when to when the criterion was met, as it is known now, stands in met-period. A criterion that cannot be evaluated is published only where somebody can do something about it, or where it had an answer before. Value and components are of the reading that method names; where a criterion has both, those by every hour stand in components of that name. Beside an answer stands the probability that the criterion is met (JCGM 106:2012); where it is not decided, that it has become likely or unlikely is told like another answer. Preliminary while a part is still open; corrected or amended once a window that an answer rested on was. Of urine output alone: a criterion, never a diagnosis. Numbers prompt a person to look at the patient; they command nothing. Local protocol, the order and licensed practice prevail."
* insert Published
* insert OfAnIrrigation
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
    coverage 0..1 and
    body-weight 0..1 and
    weight-kind 0..1 and
    obstacle 0..* and
    met-period 0..* and
    every-hour-answer 0..1 and
    every-hour-value 0..1 and
    every-hour-interval-95 0..1 and
    every-hour-probability-met 0..1 and
    every-hour-obstacle 0..* and
    every-hour-met-period 0..*
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
* insert PeriodComponent(met-period)
* insert CodedComponent(every-hour-answer, criterion-answer)
* component[every-hour-value].code = $observation#every-hour-value
* component[every-hour-value].value[x] only Quantity
* component[every-hour-value].valueQuantity from criterion-unit (required)
* component[every-hour-value].valueQuantity.value 1..1
* insert RangeComponent(every-hour-interval-95)
* component[every-hour-interval-95].valueRange.low from criterion-unit (required)
* component[every-hour-interval-95].valueRange.high from criterion-unit (required)
* insert QuantityComponent(every-hour-probability-met, %)
* component[every-hour-obstacle].code = $observation#every-hour-obstacle
* component[every-hour-obstacle].value[x] 1..1
* component[every-hour-obstacle].value[x] only CodeableConcept
* component[every-hour-obstacle].valueCodeableConcept from criterion-obstacle (required)
* insert PeriodComponent(every-hour-met-period)
* obeys ifh-value-or-reason and ifh-component-value-or-reason and uoc-obstacle and uoc-met and uoc-probability
* obeys uoc-unit and uoc-weight and uoc-derived-from and uoc-met-period

Invariant: uoc-met-period
Description: "Met now is met since some time: the last time during which it was met has no end, and with another answer each has one."
Severity: #error
Expression: "value.empty() or (value.coding.code contains 'met') = component.where(code.coding.code contains 'met-period').value.where(end.empty()).exists()"

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
* partOf.reference = "Procedure/bladder-irrigation-example"
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
* component[body-weight].code = $observation#body-weight "Body weight"
* component[body-weight].valueQuantity = 80 'kg' "kg"
* component[weight-kind].code = $observation#weight-kind "Kind of weight"
* component[weight-kind].valueCodeableConcept = $weight-kind#actual "Weighed"
* component[met-period].code = $observation#met-period "Time during which the criterion was met"
* component[met-period].valuePeriod.start = "2026-03-02T14:00:00+01:00"
* component[every-hour-answer].code = $observation#every-hour-answer "Answer by every hour"
* component[every-hour-answer].valueCodeableConcept = $answer#indeterminate "Indeterminate"
