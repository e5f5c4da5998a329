Profile: BladderScanVolume
Parent: Observation
Id: bladder-scan-volume
Title: "Bladder scan volume"
Description: "Fluid in the bladder, seen by ultrasound. Anchors the retained volume of the balance."
* insert Published
* insert SubjectAndTime
* insert VolumeOrReason
* code.coding 2..*
* code = $observation#bladder-scan-volume
* method from measuring-way (required)
* obeys bsv-loinc and ifh-ucum

Invariant: bsv-loinc
Description: "The local code is accompanied by LOINC 15309-8."
Severity: #error
Expression: "code.coding.code contains '15309-8'"

Instance: bladder-scan-volume-example
InstanceOf: BladderScanVolume
Usage: #example
Description: "A scan at 14:10."
* insert InventedPatient
* status = #final
* code.coding[0] = $loinc#15309-8 "Urinary bladder Volume by derived from height, width and length (US)"
* code.coding[1] = $observation#bladder-scan-volume "Bladder scan volume"
* effectiveDateTime = "2026-03-02T14:10:00+01:00"
* valueQuantity = 80 'mL' "mL"
* method = $measuring#scan "By bladder scan"
