CodeSystem: DrainageClarity
Id: drainage-clarity
Title: "Clarity of the drainage"
Description: "How clear the drainage looked."
* insert Published
* ^caseSensitive = true
* #clear "Clear" "Nothing clouds it."
* #slightly-cloudy "Slightly cloudy" "Print can be read through it."
* #cloudy "Cloudy" "Print cannot be read through it."
* #turbid "Turbid" "Nothing is seen through it."

ValueSet: DrainageClaritys
Id: drainage-clarity
Title: "Clarity of the drainage"
Description: "All of them."
* insert Published
* include codes from system $clarity
