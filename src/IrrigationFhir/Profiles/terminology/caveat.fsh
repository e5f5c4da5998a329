CodeSystem: Caveat
Id: caveat
Title: "Caveats"
Description: "What a reader must know before relying on a corrected urine output."
* insert Published
* ^caseSensitive = true
* #irrigant-from-rate "instilled volume taken from charted flow rates, not measured" "No bag or pump reading anchors the irrigant of this interval; its volume is flow rate times time."
* #irrigant-interpolated "closing reading fell between two readings of the irrigant; its share is interpolated" "The drainage was read while a bag was part used; the irrigant up to that moment is a share of the bag."
* #irrigant-not-read-yet "irrigant not read yet" "A bag is running whose use up to the end of the interval has not been read; the result may change."
* #irrigant-not-charted "drainage charted while irrigation ran, no irrigant charted for it" "The drainage holds an unknown amount of irrigant."
* #irrigant-start-unknown "start of the irrigant unknown" "It is not known when this irrigant began to run; it is spread back to the start of the episode."
* #irrigant-unknown "irrigant volume unknown" "Irrigant ran in, and how much cannot be told from the record."
* #bag-start-unknown "content of the bag at its start unknown" "The bag was first read when already part used, or its start was not charted."
* #bag-end-unknown "content of the bag at its end unknown" "The bag was taken down or replaced without a reading."
* #bag-level-rose "more in the bag than before" "More was read in a hanging bag than at the reading before; the lower reading stands."
* #tubing-prime-not-charted "fluid that filled the tubing not charted" "The first bag also filled its tubing; that volume never reached the bladder and is not on record."
* #two-measures-on-one-line "two measures on one line" "A total was charted for a line on which a bag hung; both are counted."
* #pump-counter-reset "pump counter was reset" "The pump's total went back; the volume since the last reading before the reset may be incomplete."
* #device-changed "readings of another device" "Another device reads from here on; a counter is never subtracted from another device's, so what passed between the two is not known."
* #container-reset "drainage container was changed or its counter reset" "The container's content went back without an emptying on record; drainage in between may be missing."
* #level-below-previous "drainage level lower than before" "A level was read below the previous one although no emptying was charted."
* #drainage-start-unknown "content of the container at the start unknown" "What the drainage container held at its first use was not charted; it is taken as empty."
* #drainage-not-charted "irrigant ran in and no drainage was charted for it" "Drainage is missing from the record, or nothing came out: look at the patient."
* #retained-start-unknown "volume in the bladder at the start unknown" "What was in the bladder when the interval began is not on record."
* #negative-output "output below zero" "Less drained than ran in. The number is kept: it is evidence of fluid staying behind or of a charting error."
* #apportioned "share of a longer interval" "The readings do not fall on the window's edges; the window takes its share of the output by elapsed time."
* #late-entry "entry charted late" "An entry reached the record well after it happened; the result changed then."
* #corrected-entry "entry corrected" "An entry used here was corrected or struck out after it had been counted."
* #route-start-unknown "start of another urine route unknown" "The first reading of another route has no known start; it is spread back a few hours."
* #other-route-not-read "another urine route not read" "Urine also leaves by another route that was not read in this interval."
* #implausible-flow "implausible flow" "A flow on record is above what the line can carry; check the entry."
* #implausible-volume "implausible volume" "A volume on record is outside what is plausible; check the entry."
* #drainage-while-clamped "drainage charted while the drain was clamped" "The record says the bladder was shut and yet something drained."
* #dwell-in-progress "dwell in progress" "The drain was clamped in this time; what was inside could not drain."
* #gap "long gap between readings" "The time between the two readings is long."
* #doubted "a reading is doubted" "It stays in the sum and out of decisions until somebody confirms or corrects it."
* #flow-start-unknown "start or end of a flow not charted to the minute" "The doubt is in the interval."

ValueSet: Caveats
Id: caveat
Title: "Caveats"
Description: "All caveats."
* insert Published
* include codes from system $caveat
