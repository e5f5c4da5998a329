CodeSystem: IrrigationKind
Id: irrigation-kind
Title: "Kinds of bladder irrigation"
Description: "How the irrigation is carried out."
* insert Published
* ^caseSensitive = true
* #continuous "Continuous bladder irrigation" "Irrigant runs in from hanging bags while the bladder drains freely."
* #tidal "Tidal bladder irrigation" "The bladder fills to a set pressure and then empties, again and again."
* #intermittent-manual "Intermittent manual irrigation" "Portions instilled and drained by hand, the access not stated."
* #open "Open intermittent irrigation" "Portions by syringe after the catheter was disconnected from its drainage."
* #closed "Closed intermittent irrigation" "Portions through the sampling port of a closed system."
* #instillation-dwell "Instillation with dwell" "A volume instilled and kept in the bladder for a stated time."

ValueSet: IrrigationProcedures
Id: irrigation-procedure
Title: "Bladder irrigations"
Description: "Irrigation of the urinary bladder, and its kinds."
* insert Published
* $sct#78533007 "Irrigation of urinary bladder (procedure)"
* include codes from system $kind

ValueSet: IrrigationKinds
Id: irrigation-kind
Title: "Kinds of bladder irrigation"
Description: "All kinds of bladder irrigation."
* insert Published
* include codes from system $kind
