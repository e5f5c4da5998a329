Profile: LeakEstimated
Parent: Observation
Id: leak-estimated
Title: "Estimated leak"
Description: "Fluid lost beside the catheter or spilt, and not collected."
* insert Published
* insert SubjectAndTime
* insert VolumeOrReason
* code = $observation#leak-estimated
* method from measuring-way (required)
* obeys ifh-ucum

Instance: leak-estimated-example
InstanceOf: LeakEstimated
Usage: #example
Description: "A wet pad, judged by eye."
* insert InventedPatient
* status = #final
* code = $observation#leak-estimated "Estimated leak"
* effectiveDateTime = "2026-03-02T11:30:00+01:00"
* valueQuantity = 50 'mL' "mL"
* method = $measuring#estimate "Estimated"
