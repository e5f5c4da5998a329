Profile: BladderPalpation
Parent: Observation
Id: bladder-palpation
Title: "Bladder palpation"
Description: "The bladder felt over the pubic bone. What was not assessed is left out; it is not a no."
* insert Published
* insert SubjectAndTime
* code = $observation#bladder-palpation
* bodySite 1..1
* bodySite = $sct#89837001
* insert FindingsInComponents
* insert ComponentsByCode(#closed)
* component contains bladder-distended 0..1 and bladder-tender 0..1
* insert BooleanComponent(bladder-distended)
* insert BooleanComponent(bladder-tender)

Instance: bladder-palpation-example
InstanceOf: BladderPalpation
Usage: #example
Description: "Felt distended; tenderness not assessed."
* insert InventedPatient
* status = #final
* code = $observation#bladder-palpation "Bladder palpation"
* effectiveDateTime = "2026-03-02T14:12:00+01:00"
* bodySite = $sct#89837001 "Urinary bladder structure (body structure)"
* component[bladder-distended].code = $observation#bladder-distended "Bladder felt distended"
* component[bladder-distended].valueBoolean = true
