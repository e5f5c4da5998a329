Profile: IrrigantFlowRate
Parent: Observation
Id: irrigant-flow-rate
Title: "Irrigant flow rate"
Description: "The flow the irrigation was set to: a volume per hour, or drops per minute with the drop factor of the giving set. A pump-driven flow adds the device coding MDC 157784."
* insert Published
* insert SubjectAndTime
* code from flow-rate-code (required)
* value[x] only Quantity
* valueQuantity from flow-unit (required)
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* method from measuring-way (required)
* insert ComponentsByCode(#open)
* component contains drop-factor 0..1
* insert QuantityComponent(drop-factor, {drop}/mL)
* obeys ifh-value-or-reason and ifr-unit and ifr-drop-factor and ifh-ucum

Invariant: ifr-unit
Description: "Drops per minute go with the drip-rate code, millilitres per hour with the flow-rate code."
Severity: #error
Expression: "value.empty() or (value.code = '{drop}/min') = (code.coding.code contains 'irrigant-drip-rate')"

Invariant: ifr-drop-factor
Description: "A drip rate says a volume only with its drop factor, which is above zero."
Severity: #error
Expression: "code.coding.code contains 'irrigant-drip-rate' implies component.where(code.coding.code contains 'drop-factor').value.value > 0"

Instance: irrigant-flow-rate-example
InstanceOf: IrrigantFlowRate
Usage: #example
Description: "A gravity set with 20 drops to the millilitre, set to 100 drops a minute: 300 mL/h."
* insert InventedPatient
* status = #final
* code.coding[0] = $observation#irrigant-drip-rate "Irrigant drip rate"
* effectiveDateTime = "2026-03-02T08:00:00+01:00"
* valueQuantity = 100 '{drop}/min' "drops/min"
* method = $measuring#drops "By drops"
* component[drop-factor].code = $observation#drop-factor "Drop factor"
* component[drop-factor].valueQuantity = 20 '{drop}/mL' "drops/mL"
