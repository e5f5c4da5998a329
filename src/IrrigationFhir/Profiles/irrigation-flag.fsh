Profile: IrrigationFlag
Parent: Flag
Id: irrigation-flag
Title: "Irrigation flag"
Description: "A pattern in the record of an irrigation that asks a person to look at the patient. It diagnoses nothing and commands nothing. It is cleared (inactive, with an end) when the pattern ends, and retracted (entered-in-error) when later data show that it was never so."
* insert Published
* insert Told
* category 1..1
* category ^short = "Whom it is about: the patient, the safety of what is done, or whether the record can be relied on"
* category from flag-category (required)
* code from IrrigationFlagCodes (required)
* code.coding 1..*
* code.text 1..1
* code.text ^short = "What the flag is called: the same for every flag of its kind. What was seen is the statement"
* author 1..1
* author only Reference(Device)
* author ^short = "The service, by its identifier: no person raised it"
* period 1..1
* period.start 1..1
* status and category and code and subject and period and author MS
* extension contains
    FlagStatement named statement 1..1 MS and
    PartOfIrrigation named irrigation 1..1 MS and
    http://hl7.org/fhir/StructureDefinition/flag-priority named priority 1..1 MS and
    http://hl7.org/fhir/StructureDefinition/flag-detail named evidence 0..* MS and
    FlagAcknowledged named acknowledged 0..1 and
    FlagTimeToAcknowledge named timeToAcknowledge 0..1
* extension[priority].valueCodeableConcept from flag-priority (required)
* extension[evidence] ^short = "What it rests on; none where it is raised by silence"
* obeys fl-local-first and fl-suspicion and fl-period

Extension: FlagStatement
Id: flag-statement
Title: "Statement of a flag"
Description: "What was seen, with numbers, times and limits, and what a person is asked to do; of a flag that was cleared or withdrawn, why, and what it had said."
Context: Flag
* insert Published
* value[x] 1..1
* value[x] only string

Extension: FlagAcknowledged
Id: flag-acknowledged
Title: "Flag acknowledged"
Description: "When a person first saw the flag."
Context: Flag
* insert Published
* value[x] 1..1
* value[x] only dateTime

Extension: FlagTimeToAcknowledge
Id: flag-time-to-acknowledge
Title: "Time to acknowledge"
Description: "How long after its start a person first saw the flag."
Context: Flag
* insert Published
* value[x] 1..1
* value[x] only Quantity
* valueQuantity = 'min'
* valueQuantity.value 1..1

Invariant: fl-local-first
Description: "The local flag code comes first: a reader that shows one coding shows the suspicion, not a disorder."
Severity: #error
Expression: "code.coding.first().system.endsWith('/CodeSystem/irrigation-flag')"

Invariant: fl-suspicion
Description: "A suspicion is not sent as an established disorder: SNOMED CT oliguria, anuria, polyuria, frank haematuria, blood in urine and blood clot are the only ones allowed, each beside a flag that rests on a measured state or on what was seen."
Severity: #error
Expression: "code.coding.where(system = 'http://snomed.info/sct').all((code = '83128009' and (%resource.code.coding.code contains 'oliguria' or %resource.code.coding.code contains 'urine-output-criterion' or %resource.code.coding.code contains 'low-hourly-output')) or (code = '2472002' and %resource.code.coding.code contains 'anuria') or (code = '28442001' and (%resource.code.coding.code contains 'polyuria' or %resource.code.coding.code contains 'post-obstructive-diuresis')) or ((code = '197941005' or code = '34436003') and %resource.code.coding.code contains 'bleeding-worse') or ((code = '34436003' or code = '75753009') and %resource.code.coding.code contains 'clots-present'))"

Invariant: fl-period
Description: "A flag that stands has no end; one that was cleared has."
Severity: #error
Expression: "(status = 'active' implies period.end.empty()) and (status = 'inactive' implies period.end.exists())"

Instance: irrigation-flag-example
InstanceOf: IrrigationFlag
Usage: #example
Description: "600 mL ran in and 250 mL came out since 13:00."
* insert InventedPatient
* text.status = #generated
* text.div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>Outflow deficit</b></p><p>600 mL instilled, 250 mL drained since 13:00: 350 mL not accounted for. Look at the patient and the catheter.</p></div>"
* status = #active
* category = $flag-category#clinical "Clinical"
* author.type = "Device"
* author.identifier.system = "https://irrigationfhir.example/fhir/NamingSystem/service"
* author.identifier.value = "irrigationfhir"
* author.display = "IrrigationFhir"
* extension[irrigation].valueReference.reference = "Procedure/bladder-irrigation-example"
* code.coding[0] = $flag#outflow-deficit "Outflow deficit"
* code.text = "Outflow deficit"
* extension[statement].valueString = "600 mL instilled, 250 mL drained since 13:00: 350 mL not accounted for, 95 % interval 310 to 390 mL (limit 200 mL). Look at the patient and the catheter."
* period.start = "2026-03-02T14:00:00+01:00"
* extension[priority].valueCodeableConcept = $flag-priority#PH "High priority"
* extension[evidence][0].valueReference.reference = "Observation/corrected-urine-output-example"
