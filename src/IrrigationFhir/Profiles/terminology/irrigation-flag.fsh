CodeSystem: IrrigationFlagCode
Id: irrigation-flag
Title: "Irrigation flags"
Description: "Patterns that ask a person to look at the patient."
* insert Published
* ^caseSensitive = true
* #outflow-deficit "Outflow deficit" "More irrigant ran in than came back."
* #no-drainage "No drainage" "Irrigant runs, the drain is open, and nothing drains."
* #drainage-reading-stale "Drainage not read" "Irrigant runs and the drainage was not read for long."
* #return-short "Return is short" "Of an aliquot that was instilled too little came back."
* #negative-corrected-output "Corrected output below zero" "Less drained than ran in."
* #urine-output-criterion "Urine-output criterion met" "A stage of a urine-output criterion is met; no diagnosis."
* #anuria "No urine output" "At most a little corrected output in 12 h."
* #low-hourly-output "Low hourly output" "Low in each of two consecutive hours."
* #oliguria "Low urine output" "Low in 24 h."
* #polyuria "High urine output" "High in 24 h."
* #post-obstructive-diuresis "Post-obstructive diuresis" "High output after an obstruction was relieved."
* #unaccounted-irrigant "Unaccounted irrigant" "A large amount of irrigant did not come back."
* #bleeding-worse "Bleeding worse" "The drainage is bloodier than before."
* #clots-present "Clots" "Clots were seen."
* #rate-colour-mismatch "Flow does not fit the colour" "Bloody drainage and no higher flow, or clear for long and the flow not reviewed."
* #dwell-overrun "Dwell too long" "The drain is clamped past the ordered time."
* #inflow-while-clamped "Inflow while clamped" "Irrigant runs in and the drain is clamped."
* #dwell-unattended "Dwell not attended" "The drain is clamped, and nothing on record shows that somebody was with the patient."
* #irrigation-impeded "Irrigation impeded" "Resistance was met, an aliquot not given in full, or the irrigation ended for another reason than that it was done."
* #poorly-tolerated "Irrigation poorly tolerated" "Pain above a limit, spasm, or an irrigation that is not tolerated."
* #irrigation-due "Irrigation due" "The next irrigation, or dose, is due by the order's times a day."
* #bag-low "Irrigant bag low" "The bag will be empty soon."
* #bag-dry "Irrigant bag dry" "The bag is empty."
* #drainage-bag-high "Drainage bag nearly full" "The drainage container has to be emptied."
* #order-mismatch "Order and record differ" "What is done is not what was ordered, or there is no order."
* #medicated-limit "Limit of a medicated irrigant" "A limit of the irrigant in use is reached."
* #implausible "Implausible entry" "A figure on record is outside what is plausible."
* #reading-doubted "Reading to be confirmed" "What follows from a reading cannot be right: look again, and confirm or correct it."
* #late-entry "Late entry" "An entry was charted late, or a late or corrected entry changed a flag that had been told."
* #record-incomplete "Record incomplete" "Something that the record needs is missing."
* #dysreflexia-risk "Risk of autonomic dysreflexia" "Spinal cord injury and a full or blocked bladder."
* #catheter-review "Catheter to be reviewed" "The indication was not reviewed, or the closed system was opened."
* #catheter-leakage "Leakage beside the catheter" "Fluid by-passes the catheter."
* #bladder-distension "Bladder distended" "The bladder was felt distended."
* #suprapubic-tenderness "Tender over the bladder" "Tenderness over the bladder was found."

ValueSet: IrrigationFlagCodes
Id: irrigation-flag
Title: "Irrigation flags"
Description: "All of them."
* insert Published
* include codes from system $flag
