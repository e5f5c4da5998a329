CodeSystem: OutputWindow
Id: output-window
Title: "Windows of urine output"
Description: "Which stretch of time a urine output stands for."
* insert Published
* ^caseSensitive = true
* #closed-interval "Closed interval" "From one drainage reading that closes the balance to the next."
* #clock-hour "Clock hour" "A full hour by the clock."
* #shift "Shift" "A shift by the facility's shift times."
* #local-day "Local day" "A calendar day in the facility's time zone: 23, 24 or 25 hours."

ValueSet: OutputWindows
Id: output-window
Title: "Windows of urine output"
Description: "All windows of urine output."
* insert Published
* include codes from system $window
