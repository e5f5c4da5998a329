CodeSystem: WeightKind
Id: weight-kind
Title: "Kinds of weight"
Description: "Whose weight a figure is."
* insert Published
* ^caseSensitive = true
* #actual "Weighed" "On a scale."
* #stated "Stated" "Told by the patient or a relative."
* #estimated "Estimated" "Judged by eye or from length."
* #ideal "Ideal weight" "Worked out from height."
* #dosing "Dosing weight" "The weight that doses are worked on."

ValueSet: WeightKinds
Id: weight-kind
Title: "Kinds of weight"
Description: "All of them."
* insert Published
* include codes from system $weight-kind
