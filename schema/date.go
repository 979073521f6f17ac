package schema

import "strconv"

// Date returns the calendar date so many days after 1970-01-01, written
// 2006-01-02. Days before that are shown as 1970-01-01.
//
// It stands here because the standard library's clock costs every phone 40 kB
// for this one line.
//
// Source: the proleptic Gregorian calendar, counted in eras of 400 years.
func Date(days int) string {
	days = max(0, days)
	z := days + 719468 // days since 0000-03-01
	era := z / 146097
	doe := z - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	day, month, year := doy-(153*mp+2)/5+1, mp+3, yoe+era*400
	if month > 12 {
		month, year = month-12, year+1
	}
	return pad(year, 4) + "-" + pad(month, 2) + "-" + pad(day, 2)
}

func pad(n, width int) string {
	s := strconv.Itoa(n)
	for len(s) < width {
		s = "0" + s
	}
	return s
}
