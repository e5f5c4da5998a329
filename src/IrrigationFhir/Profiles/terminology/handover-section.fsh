CodeSystem: HandoverSectionCode
Id: handover-section
Title: "Handover and its sections"
Description: "What a handover of an irrigation tells, section by section."
* insert Published
* ^caseSensitive = true
* #handover "Handover of a bladder irrigation" "The whole document."
* #catheter "Catheter" "What is in place, since when, and how often the closed system was opened."
* #irrigation "Irrigation" "What runs, how fast, and how the flow was changed."
* #appearance "Drainage appearance" "What the drainage looked like, and its trend."
* #balance "Balance" "What was made, ran in and came out, with its interval."
* #forecasts "Forecasts" "What comes when, if things go on as they are."
* #dwell "Dwell" "A clamp in force, and when it is to be released."
* #flags "Flags" "Patterns that stand."
* #undecided "Undecided" "What nobody can tell, and what would decide it."
* #comfort "Pain and spasm" "How it is borne."
* #order "Order" "What was ordered, and its limits."
* #contact "Whom to call" "As the order says."
* #record "Record" "What is missing or contradicts itself."
* #cautions "Cautions" "What to bear in mind."

ValueSet: HandoverSectionCodes
Id: handover-section
Title: "Sections of a handover"
Description: "All of them."
* insert Published
* include codes from system $handover
