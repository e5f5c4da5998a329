CodeSystem: ToleranceCode
Id: tolerance
Title: "Tolerance"
Description: "How the patient bore the irrigation."
* insert Published
* ^caseSensitive = true
* #well "Well tolerated" "Without complaint that stopped it."
* #poor "Poorly tolerated" "Stopped, slowed or hard to bear."

ValueSet: ToleranceCodes
Id: tolerance
Title: "Tolerance"
Description: "All of them."
* insert Published
* include codes from system $tolerance
