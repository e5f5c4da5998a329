Profile: Handover
Parent: Composition
Id: handover
Title: "Handover of a bladder irrigation"
Description: "What the next shift has to know of an irrigation, as of one moment: the first entry of a document. Facts that are old say how old; nothing in it commands."
* insert Published
* insert Told
* event.detail ^short = "The irrigation (Procedure)"
* type and subject and date and author and title and event and section MS
* type from handover-section (required)
* type.coding 1..*
* type ^short = "A note by nurses (LOINC), and which one in our words"
* subject 1..1
* section 1..*
* section.title 1..1
* section.code 1..1
* section.code from handover-section (required)
* section.text 1..1
* obeys ho-sections

Invariant: ho-sections
Description: "No section stands twice, and the flags and the balance are never left out: an empty section says so in its text."
Severity: #error
Expression: "section.code.coding.code.isDistinct() and section.code.coding.where(code = 'flags').exists() and section.code.coding.where(code = 'balance').exists()"

Instance: handover-example
InstanceOf: Handover
Usage: #example
Description: "The shortest handover."
* text.status = #generated
* text.div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>Handover of a bladder irrigation</b></p><p>As of 2026-03-02T15:00:00+01:00.</p></div>"
* status = #final
* type.coding[0] = $loinc#34746-8 "Nurse Note"
* type.coding[1] = $handover#handover "Handover of a bladder irrigation"
* subject.identifier.system = "https://ward.example/patients"
* subject.identifier.value = "P-0001"
* date = "2026-03-02T15:00:00+01:00"
* author.type = "Device"
* author.identifier.system = "https://irrigationfhir.example/fhir/NamingSystem/service"
* author.identifier.value = "irrigationfhir"
* author.display = "IrrigationFhir"
* title = "Handover of a bladder irrigation"
* section[0].title = "Balance"
* section[0].code.coding[0] = $handover#balance "Balance"
* section[0].text.status = #generated
* section[0].text.div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>Nothing is charted yet.</p></div>"
* section[1].title = "Flags"
* section[1].code.coding[0] = $handover#flags "Flags"
* section[1].text.status = #generated
* section[1].text.div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>None stands.</p></div>"
