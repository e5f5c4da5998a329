CodeSystem: CriterionReading
Id: criterion-reading
Title: "Readings of a criterion"
Description: "The customary readings of less than so much for so many hours. Both are in use, and they differ."
* insert Published
* ^caseSensitive = true
* #mean-over-window "Mean over the window" "The mean rate over the window."
* #every-hour "Every hour" "The rate of every consecutive hour in it."

ValueSet: CriterionReadings
Id: criterion-reading
Title: "Readings of a criterion"
Description: "All of them."
* insert Published
* include codes from system $reading
