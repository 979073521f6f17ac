package physics

// moment is a point in calendar time and the offset it was written with.
type moment struct {
	unixS   int64
	offsetS int64
}

const (
	daySeconds    = 86400
	secondsAMonth = 30.4375 * daySeconds // a twelfth of 365.25 days
)

// parseMoment reads RFC 3339 with a full time and an offset; parts of a
// second are left out.
func parseMoment(text string) (moment, bool) {
	if len(text) < 20 || len(text) > 40 || text[4] != '-' || text[7] != '-' || text[13] != ':' || text[16] != ':' {
		return moment{}, false
	}
	if t := text[10]; t != 'T' && t != 't' && t != ' ' {
		return moment{}, false
	}
	year, month, day := wholeNumber(text[0:4]), wholeNumber(text[5:7]), wholeNumber(text[8:10])
	hour, minute, second := wholeNumber(text[11:13]), wholeNumber(text[14:16]), wholeNumber(text[17:19])
	offsetS, ok := parseOffset(afterFraction(text[19:]))
	if !ok || year < 1 || month < 1 || month > 12 || day < 1 || day > monthLength(year, month) ||
		hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 60 {
		return moment{}, false
	}
	local := daysFromCivil(year, month, day)*daySeconds + hour*3600 + minute*60 + second
	return moment{unixS: local - offsetS, offsetS: offsetS}, true
}

// afterFraction skips the decimals of a second.
func afterFraction(rest string) string {
	if rest[0] != '.' {
		return rest
	}
	i := 1
	for i < len(rest) && rest[i] >= '0' && rest[i] <= '9' {
		i++
	}
	if i == 1 {
		return ""
	}
	return rest[i:]
}

// parseOffset reads Z or ±hh:mm.
func parseOffset(text string) (int64, bool) {
	if text == "Z" || text == "z" {
		return 0, true
	}
	if len(text) != 6 || text[3] != ':' || (text[0] != '+' && text[0] != '-') {
		return 0, false
	}
	hours, minutes := wholeNumber(text[1:3]), wholeNumber(text[4:6])
	if hours < 0 || hours > 23 || minutes < 0 || minutes > 59 {
		return 0, false
	}
	seconds := hours*3600 + minutes*60
	if text[0] == '-' {
		seconds = -seconds
	}
	return seconds, true
}

// wholeNumber reads a whole number of decimal digits, or -1.
func wholeNumber(text string) int64 {
	value := int64(0)
	for i := range len(text) {
		if text[i] < '0' || text[i] > '9' {
			return -1
		}
		value = value*10 + int64(text[i]-'0')
	}
	return value
}

// monthLength is the number of days of a month.
func monthLength(year, month int64) int64 {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// daysFromCivil counts days from 1970-01-01 in the Gregorian calendar, with
// years beginning in March so that the leap day comes last.
func daysFromCivil(year, month, day int64) int64 {
	if month <= 2 {
		year--
		month += 12
	}
	return 365*year + year/4 - year/100 + year/400 + (153*(month-3)+2)/5 + day - 719469
}

// text prints a moment as RFC 3339 with its own offset.
func (m moment) text() string {
	local := m.unixS + m.offsetS
	days, rest := local/daySeconds, local%daySeconds
	if rest < 0 {
		days, rest = days-1, rest+daySeconds
	}
	year := 1970 + days/366 // never too late; the loop below walks on
	for daysFromCivil(year+1, 1, 1) <= days {
		year++
	}
	for daysFromCivil(year, 1, 1) > days {
		year--
	}
	month := int64(1)
	for month < 12 && daysFromCivil(year, month+1, 1) <= days {
		month++
	}
	day := days - daysFromCivil(year, month, 1) + 1
	text := padded(year, 4) + "-" + padded(month, 2) + "-" + padded(day, 2) + "T" +
		padded(rest/3600, 2) + ":" + padded(rest/60%60, 2) + ":" + padded(rest%60, 2)
	switch {
	case m.offsetS == 0:
		return text + "Z"
	case m.offsetS < 0:
		return text + "-" + padded(-m.offsetS/3600, 2) + ":" + padded(-m.offsetS/60%60, 2)
	}
	return text + "+" + padded(m.offsetS/3600, 2) + ":" + padded(m.offsetS/60%60, 2)
}

// padded prints a number with leading zeros.
func padded(value int64, width int) string {
	text := make([]byte, width)
	for i := width - 1; i >= 0; i-- {
		text[i] = byte('0' + value%10)
		value /= 10
	}
	return string(text)
}
