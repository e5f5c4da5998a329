Profile: DrainageAppearance
Parent: Observation
Id: drainage-appearance
Title: "Drainage appearance"
Description: "What the drainage looked like: colour in a word, a grade with the name of its scale, clarity, clots, mucus, debris, odour. Colour is read by people; grades of two scales are never converted into one another."
* insert Published
* insert SubjectAndTime
* code = $observation#drainage-appearance
* insert FindingsInComponents
* insert ComponentsByCode(#closed)
* component contains
    drainage-colour 0..1 and
    colour-grade 0..1 and
    colour-scale 0..1 and
    drainage-clarity 0..1 and
    drainage-clot-burden 0..1 and
    drainage-mucus 0..1 and
    drainage-debris 0..1 and
    drainage-odour 0..1
* component[drainage-colour].code = $observation#drainage-colour
* component[drainage-colour].code.coding 2..*
* component[drainage-colour].value[x] 1..1
* component[drainage-colour].value[x] only CodeableConcept
* component[drainage-colour].valueCodeableConcept.text 1..1
* component[colour-grade].code = $observation#colour-grade
* component[colour-grade].value[x] 1..1
* component[colour-grade].value[x] only integer
* component[colour-scale].code = $observation#colour-scale
* component[colour-scale].value[x] only string
* component[colour-scale].dataAbsentReason from absent-reason (required)
* insert CodedComponent(drainage-clarity, drainage-clarity)
* insert CodedComponent(drainage-clot-burden, clot-burden)
* insert BooleanComponent(drainage-mucus)
* insert BooleanComponent(drainage-debris)
* insert BooleanComponent(drainage-odour)
* obeys da-scale and da-standard-codes

Invariant: da-scale
Description: "A grade carries the name of its scale, or says that nobody named it: the same number means another colour on another scale."
Severity: #error
Expression: "component.where(code.coding.code contains 'colour-grade').exists() implies component.where(code.coding.code contains 'colour-scale').exists()"

Invariant: da-standard-codes
Description: "Colour and clarity carry their LOINC codes, 5778-6 and 32167-9, beside the local ones."
Severity: #error
Expression: "component.where(code.coding.code contains 'drainage-colour').all(code.coding.code contains '5778-6') and component.where(code.coding.code contains 'drainage-clarity').all(code.coding.code contains '32167-9')"

Instance: drainage-appearance-example
InstanceOf: DrainageAppearance
Usage: #example
Description: "Light red, grade 3 of a ward's own card, a few clots."
* insert InventedPatient
* status = #final
* code = $observation#drainage-appearance "Drainage appearance"
* effectiveDateTime = "2026-03-02T14:10:00+01:00"
* component[drainage-colour].code.coding[0] = $observation#drainage-colour "Colour of the drainage"
* component[drainage-colour].code.coding[1] = $loinc#5778-6 "Color of Urine"
* component[drainage-colour].valueCodeableConcept = $sct#720003003 "Reddish color urine"
* component[drainage-colour].valueCodeableConcept.text = "light red"
* component[colour-grade].code = $observation#colour-grade "Grade of colour"
* component[colour-grade].valueInteger = 3
* component[colour-scale].code = $observation#colour-scale "Scale of the grade"
* component[colour-scale].valueString = "Lantern Quay colour card (invented)"
* component[drainage-clarity].code.coding[0] = $observation#drainage-clarity "Clarity of the drainage"
* component[drainage-clarity].code.coding[1] = $loinc#32167-9 "Clarity of Urine"
* component[drainage-clarity].valueCodeableConcept.coding[0] = $sct#1290141002 "Slightly cloudy urine (finding)"
* component[drainage-clarity].valueCodeableConcept.coding[1] = $clarity#slightly-cloudy "Slightly cloudy"
* component[drainage-clot-burden].code = $observation#drainage-clot-burden "Clots in the drainage"
* component[drainage-clot-burden].valueCodeableConcept.coding[0] = $sct#75753009 "Blood clot (morphologic abnormality)"
* component[drainage-clot-burden].valueCodeableConcept.coding[1] = $clots#few "Few clots"
* component[drainage-mucus].code = $observation#drainage-mucus "Mucus in the drainage"
* component[drainage-mucus].valueBoolean = false
