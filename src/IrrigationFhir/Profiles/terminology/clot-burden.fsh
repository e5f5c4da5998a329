CodeSystem: ClotBurden
Id: clot-burden
Title: "Clots"
Description: "How many clots were seen in the drainage. A local ordinal scale: no standard one was found."
* insert Published
* ^caseSensitive = true
* #none "No clots" "Looked for, none seen."
* #few "Few clots" "Some."
* #many "Many clots" "Many."

ValueSet: ClotBurdens
Id: clot-burden
Title: "Clots"
Description: "All of them."
* insert Published
* include codes from system $clots
