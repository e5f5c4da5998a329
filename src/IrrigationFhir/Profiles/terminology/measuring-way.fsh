CodeSystem: MeasuringWay
Id: measuring-way
Title: "Ways of measuring"
Description: "How a volume, mass or rate became known. The uncertainty depends on it."
* insert Published
* ^caseSensitive = true
* #label "By label" "The volume printed on the bag."
* #graduation "By graduation" "Read from the marks on the bag or container."
* #weighed "Weighed" "From the mass and the density of the fluid."
* #pump "By pump" "Counted by a pump."
* #syringe "By syringe" "Read from a syringe."
* #drops "By drops" "Counted drops and the drop factor of the giving set."
* #scan "By bladder scan" "Seen by ultrasound."
* #estimate "Estimated" "Judged by eye or otherwise guessed."

ValueSet: MeasuringWays
Id: measuring-way
Title: "Ways of measuring"
Description: "All ways of measuring."
* insert Published
* include codes from system $measuring
