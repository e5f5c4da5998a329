CodeSystem: CriterionObstacle
Id: criterion-obstacle
Title: "Obstacles to a criterion"
Description: "Why a criterion cannot be evaluated."
* insert Published
* ^caseSensitive = true
* #age-unknown "No date of birth" "Adult windows are for known adults."
* #age-does-not-fit "The criterion is for another age" "The patient is of another age group."
* #weight-unknown "No weight charted" "A rate per kilogram needs a weight."
* #weight-implausible "Weight not plausible" "The weight in force is outside what is plausible, or far from the one before."
* #not-covered "Window not covered" "Closed intervals do not cover enough of the window."
* #output-unknown "Output unknown" "The output of a part of the window is unknown."
* #doubts-unknown "Uncertainty unknown" "Something was not charted, so that there is no interval."
* #too-uncertain "Too uncertain" "The interval is wider than the threshold: not decidable with this irrigation rate and way of measuring."
* #doubted "Reading doubted" "A reading is doubted, and nobody has confirmed or corrected it yet."
* #below-zero "Interval below zero" "The whole interval lies below 0: a term is missing, which says nothing of how much urine there was."
* #gap "Long gap between readings" "The readings are too far apart to say anything by the hour."
* #still-open "Window still open" "Part of the window is not complete."

ValueSet: CriterionObstacles
Id: criterion-obstacle
Title: "Obstacles to a criterion"
Description: "All of them."
* insert Published
* include codes from system $obstacle
