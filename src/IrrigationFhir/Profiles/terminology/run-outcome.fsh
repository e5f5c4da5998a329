CodeSystem: RunOutcomeCode
Id: run-outcome
Title: "Outcomes of a run of cycles"
Description: "What came of an intermittent or open irrigation."
* insert Published
* ^caseSensitive = true
* #target-reached "Target reached" "The return was free of clots and sediment, or as the order asks for."
* #target-not-reached "Target not reached" "It is over, and the return was not as it was to be."
* #ended-otherwise "Ended otherwise" "It was ended for another reason."

ValueSet: RunOutcomes
Id: run-outcome
Title: "Outcomes of a run of cycles"
Description: "All of them."
* insert Published
* include codes from system $run-outcome
