// What several profiles have in common.

RuleSet: Published
* ^experimental = false
* ^publisher = "IrrigationFhir"

Invariant: ifh-value-or-reason
Description: "A measured value, or the reason why there is none: an empty Observation says nothing."
Severity: #error
Expression: "value.exists() or dataAbsentReason.exists()"

Invariant: ifh-component-value-or-reason
Description: "Every component has a value or the reason why there is none."
Severity: #error
Expression: "component.where(value.empty() and dataAbsentReason.empty()).empty()"

// A volume in mL, or a reason from our own list.
RuleSet: VolumeOrReason
* value[x] only Quantity
* valueQuantity = 'mL'
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* obeys ifh-value-or-reason

// One patient, a known time: a dateTime for a reading, a Period for a stretch.
RuleSet: SubjectAndTime
* subject 1..1
* effective[x] 1..1
* effective[x] only dateTime or Period

RuleSet: ComponentsByCode(rules)
* component ^slicing.discriminator.type = #pattern
* component ^slicing.discriminator.path = "code"
* component ^slicing.ordered = false
* component ^slicing.rules = {rules}

RuleSet: QuantityComponent(slug, unit)
* component[{slug}].code = $observation#{slug}
* component[{slug}].value[x] only Quantity
* component[{slug}].valueQuantity = '{unit}'
* component[{slug}].valueQuantity.value 1..1
* component[{slug}].dataAbsentReason from absent-reason (required)

RuleSet: InventedPatient
* subject.identifier.system = "https://ward.example/patients"
* subject.identifier.value = "P-0001"
* subject.display = "Invented patient"
