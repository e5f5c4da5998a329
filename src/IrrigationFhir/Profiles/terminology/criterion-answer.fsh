CodeSystem: CriterionAnswer
Id: criterion-answer
Title: "Answers of a criterion"
Description: "The four answers of a decision that compares a value and its 95 % interval with a threshold."
* insert Published
* ^caseSensitive = true
* #met "Met" "The whole interval lies on the side of the threshold where the criterion is met."
* #not-met "Not met" "The whole interval lies on the other side; by the hour, one hour does."
* #indeterminate "Indeterminate" "The interval covers the threshold."
* #not-evaluable "Not evaluable" "Nothing can be said; the obstacles say why."

ValueSet: CriterionAnswers
Id: criterion-answer
Title: "Answers of a criterion"
Description: "All of them."
* insert Published
* include codes from system $answer
