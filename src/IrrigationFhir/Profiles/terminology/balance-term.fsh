CodeSystem: BalanceTerm
Id: balance-term
Title: "Terms of the mass balance"
Description: "Terms of the mass balance that may be unmeasured and taken as zero."
* insert Published
* ^caseSensitive = true
* #absorbed "Absorbed" "Irrigant that entered the body and did not come back."
* #blood "Blood" "Blood and clot in the drainage."
* #leaked "Leaked" "Fluid lost beside the catheter or spilt."
* #retained-change "Change of the retained volume" "Fluid in the bladder at the end less fluid in the bladder at the start."

ValueSet: BalanceTerms
Id: balance-term
Title: "Terms of the mass balance"
Description: "All terms that may be taken as zero."
* insert Published
* include codes from system $term
