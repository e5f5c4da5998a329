CodeSystem: OwnFlagCategory
Id: flag-category
Title: "Categories of a flag beside those of HL7"
Description: "HL7 has categories for the patient's state and for safety, and none for the record itself."
* insert Published
* ^caseSensitive = true
* #data-quality "Data quality" "Whether what is charted can be relied on: implausible, doubted, contradictory, late or missing."
