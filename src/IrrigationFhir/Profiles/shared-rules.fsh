// What several profiles have in common.

// Supported (MS): the service fills it wherever it is known, and whoever reads the resource must not pass it over.
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

Invariant: ifh-component-or-reason
Description: "At least one finding, or the reason why there is none."
Severity: #error
Expression: "component.exists() or dataAbsentReason.exists()"

Invariant: ifh-ucum
Description: "Every quantity has a unit of our list, or one in which entries are taken, spelt as UCUM spells it: cc and mL/hr are no UCUM, ML is a megalitre, [drp] is always 1/20 mL."
Severity: #error
Expression: "(value | component.value).ofType(Quantity).all(system = 'http://unitsofmeasure.org' and (code = 'mL' or code = 'mL/h' or code = 'mL/(8.h)' or code = 'mL/(12.h)' or code = 'mL/d' or code = 'mL/kg/h' or code = '{drop}/min' or code = '{drop}/mL' or code = '{gtt}/min' or code = '{gtt}/mL' or code = 'g' or code = 'kg' or code = 'h' or code = 'min' or code = 'ml' or code = 'L' or code = 'l' or code = 'mL/min' or code = 'ml/min' or code = 'ml/h' or code = 'L/h' or code = 'l/h' or code = '%' or code = '{score}'))"

// A volume in mL, or a reason from our own list.
RuleSet: VolumeOrReason
* value[x] only Quantity
* value[x] MS
* valueQuantity = 'mL'
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* obeys ifh-value-or-reason

// One patient, a known time: a dateTime for a reading, a Period for a stretch.
RuleSet: SubjectAndTime
* subject 1..1
* effective[x] 1..1
* effective[x] only dateTime or Period
* partOf ^short = "The irrigation of the episode, which the service adds; then the run of cycles"
* status and code and subject and effective[x] and dataAbsentReason and partOf MS

// What the service works out names the irrigation that it is worked out of.
// What people open has a narrative, by the one template of the service: what it is called, and a paragraph for each thing that is said.
RuleSet: Told
* text 1..1 MS
* text.status = #generated

RuleSet: OfAnIrrigation
* partOf 1..*
* partOf only Reference(Procedure)
* partOf ^short = "The irrigation of the episode; everything that is published of it points there"
* status and code and subject and effective[x] and value[x] and dataAbsentReason and partOf and derivedFrom and component MS

Extension: PartOfIrrigation
Id: part-of-irrigation
Title: "Part of an irrigation"
Description: "The irrigation (Procedure) that the resource belongs to, where R4 has no partOf: the same reference as in the partOf of its Observations."
Context: Flag, Provenance
* insert Published
* value[x] 1..1
* value[x] only Reference(Procedure)

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

// Findings in components, nothing above them.
RuleSet: FindingsInComponents
* value[x] 0..0
* dataAbsentReason from absent-reason (required)
* obeys ifh-component-or-reason and ifh-component-value-or-reason

RuleSet: BooleanComponent(slug)
* component[{slug}].code = $observation#{slug}
* component[{slug}].value[x] only boolean
* component[{slug}].dataAbsentReason from absent-reason (required)

RuleSet: CodedComponent(slug, set)
* component[{slug}].code = $observation#{slug}
* component[{slug}].value[x] only CodeableConcept
* component[{slug}].valueCodeableConcept from {set} (required)
* component[{slug}].dataAbsentReason from absent-reason (required)

RuleSet: RangeComponent(slug)
* component[{slug}].code = $observation#{slug}
* component[{slug}].value[x] only Range
* component[{slug}].valueRange.low 1..1
* component[{slug}].valueRange.low.value 1..1
* component[{slug}].valueRange.high 1..1
* component[{slug}].valueRange.high.value 1..1

RuleSet: PeriodComponent(slug)
* component[{slug}].code = $observation#{slug}
* component[{slug}].value[x] 1..1
* component[{slug}].value[x] only Period
* component[{slug}].valuePeriod.start 1..1

RuleSet: InventedPatient
* subject.identifier.system = "https://ward.example/patients"
* subject.identifier.value = "P-0001"
* subject.display = "Invented patient"
