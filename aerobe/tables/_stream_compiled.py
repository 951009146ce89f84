# mypy: disable-error-code="no-untyped-def"
"""The compiled core of reading a long log: bytes of lines to lowest, highest, sum and number in each interval of time.

It stands in one file because the cache of compiled code watches one file only.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# Kinds of a column: not used, a number, time as a number, a date with or without a clock (fields in the order of `order`), a
# clock alone that is added to the date.
UNUSED, NUMBER, TIME_NUMBER, TIME_CLOCK, TIME_OF_DAY = 0, 1, 2, 3, 4
GOOD, EMPTY, BAD = 0, 1, 2


@njit(cache=True, nogil=True)
def number_at(text, start, end, comma):
    """A number between two places of a line: value and whether it is GOOD, EMPTY or BAD."""
    while start < end and (text[start] == 32 or text[start] == 34):
        start += 1
    while end > start and (text[end - 1] == 32 or text[end - 1] == 34 or text[end - 1] == 13):
        end -= 1
    if start >= end:
        return 0.0, EMPTY
    sign = 1.0
    if text[start] == 45:
        sign = -1.0
        start += 1
    elif text[start] == 43:
        start += 1
    # Digits as one whole number over a power of ten: one rounding, as Python's own reading of up to 15 digits.
    whole, digits, behind, seen = np.int64(0), 0, 0, False
    place = start
    while place < end:
        sign_here = text[place]
        if 48 <= sign_here <= 57:
            if digits < 18:
                whole = whole * 10 + (sign_here - 48)
                if whole > 0:
                    digits += 1
                if seen:
                    behind += 1
            elif not seen:
                behind -= 1
        elif sign_here == comma and not seen:
            seen = True
        else:
            break
        place += 1
    if place == start or (seen and place == start + 1):
        return 0.0, BAD
    exponent = 0
    if place < end and (text[place] == 101 or text[place] == 69):
        place += 1
        turn = 1
        if place < end and (text[place] == 45 or text[place] == 43):
            turn = -1 if text[place] == 45 else 1
            place += 1
        if place == end:
            return 0.0, BAD
        while place < end and 48 <= text[place] <= 57:
            exponent = exponent * 10 + (text[place] - 48)
            place += 1
            if exponent > 300:
                return 0.0, BAD
        exponent *= turn
    if place != end:
        return 0.0, BAD
    power = exponent - behind
    value = float(whole)
    if power < 0:
        value = value / 10.0**-power if power > -300 else 0.0
    elif power > 0:
        value = value * 10.0**power
    return sign * value, GOOD


@njit(cache=True, nogil=True)
def days_of(year, month, day):
    """Days since 1970-01-01 of a date of the Gregorian calendar."""
    if month <= 2:
        year -= 1
        month += 12
    return 365 * year + year // 4 - year // 100 + year // 400 + (153 * (month - 3) + 2) // 5 + day - 1 - 719468


@njit(cache=True, nogil=True)
def clock_at(text, start, end, order):
    """Seconds since 1970 of a date and clock by its runs of digits; `order` 0: year first, 1: day first, 2: month first."""
    parts = np.zeros(7, dtype=np.int64)
    found, fraction, scale, place = 0, 0.0, 1.0, start
    while place < end and (text[place] == 32 or text[place] == 34):
        place += 1
    while place < end and found < 7:
        if 48 <= text[place] <= 57:
            value, length = np.int64(0), 0
            while place < end and 48 <= text[place] <= 57:
                value = value * 10 + (text[place] - 48)
                if found == 6:
                    scale *= 0.1
                    fraction += (text[place] - 48) * scale
                place += 1
                length += 1
                if length > 9:
                    return 0.0, BAD
            parts[found] = value
            found += 1
            if place < end and found < 6 and text[place] not in (45, 47, 46, 32, 58, 84):
                break
            if place < end and found == 6 and text[place] not in (46, 44):
                break
        else:
            place += 1
    if found < 3:
        return 0.0, EMPTY if found == 0 else BAD
    while place < end and (text[place] in (32, 34, 13, 90)):
        place += 1
    if place != end:
        return 0.0, BAD  # an offset or a word behind it: not a plain clock
    year, month, day = parts[0], parts[1], parts[2]
    if order == 1:
        year, month, day = parts[2], parts[1], parts[0]
    elif order == 2:
        year, month, day = parts[2], parts[0], parts[1]
    if year < 100:
        year += 2000
    if not (1900 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31 and parts[3] < 24 and parts[4] < 60 and parts[5] < 61):
        return 0.0, BAD
    return days_of(year, month, day) * 86400.0 + parts[3] * 3600.0 + parts[4] * 60.0 + parts[5] + fraction, GOOD


@njit(cache=True, nogil=True)
def day_seconds_at(text, start, end):
    """Seconds since midnight of a clock such as 08:30 or 08:30:15.5."""
    parts, found, fraction, scale = np.zeros(4, dtype=np.int64), 0, 0.0, 1.0
    for place in range(start, end):
        letter = text[place]
        if 48 <= letter <= 57:
            if found == 3:
                scale *= 0.1
                fraction += (letter - 48) * scale
            else:
                parts[found] = parts[found] * 10 + (letter - 48)
        elif letter in (58, 46, 44) and found < 3:
            found += 1
        elif letter not in (32, 34, 13):
            return 0.0, BAD
    if found < 1 or parts[0] > 23 or parts[1] > 59 or parts[2] > 60:
        return 0.0, BAD
    return parts[0] * 3600.0 + parts[1] * 60.0 + parts[2] + fraction, GOOD


@njit(cache=True, nogil=True)
def moment_of_line(text, starts, ends, kinds, comma, order, factor_s):
    """The moment of a line in seconds, and whether it is GOOD."""
    moment, state = 0.0, BAD
    for at in range(len(kinds)):
        part, how = 0.0, GOOD
        if kinds[at] == TIME_NUMBER:
            part, how = number_at(text, starts[at], ends[at], comma)
            part *= factor_s
        elif kinds[at] == TIME_CLOCK:
            part, how = clock_at(text, starts[at], ends[at], order)
        elif kinds[at] == TIME_OF_DAY:
            part, how = day_seconds_at(text, starts[at], ends[at])
        else:
            continue
        if how != GOOD:
            return 0.0, BAD
        moment, state = moment + part, GOOD
    return moment, state


@njit(cache=True, nogil=True)
def fold_lines(text, mark, comma, kinds, order, factor_s, width_s, first_s, limits, lows, highs, sums, counts, offsets, tally):
    """Fold whole lines into intervals of `width_s` from `first_s`.

    `limits` are the lowest and highest number that a channel can show, shape (channels, 2); arrays `lows` to `offsets` have shape
    (intervals, channels). `tally`: rows, bad rows, empty cells, bad cells, rows outside all intervals, first and last moment.
    """
    columns = len(kinds)
    starts, ends = np.zeros(columns, np.int64), np.zeros(columns, np.int64)
    place, size = 0, len(text)
    intervals = lows.shape[0]
    while place < size:
        column, cell, quoted, begun = 0, place, False, place
        while place < size and text[place] != 10:
            letter = text[place]
            if letter == 34:
                quoted = not quoted
            elif letter == mark and not quoted:
                if column < columns:
                    starts[column], ends[column] = cell, place
                column += 1
                cell = place + 1
            place += 1
        if column < columns:
            starts[column], ends[column] = cell, place
        column += 1
        place += 1
        if place - begun <= 2:
            continue
        tally[0] += 1
        moment, state = (0.0, BAD) if column < columns else moment_of_line(text, starts, ends, kinds, comma, order, factor_s)
        if state != GOOD:
            tally[1] += 1
            continue
        tally[5] = min(tally[5], moment)
        tally[6] = max(tally[6], moment)
        interval = int((moment - first_s) // width_s)
        if interval < 0 or interval >= intervals:
            tally[4] += 1
            continue
        channel = 0
        for at in range(columns):
            if kinds[at] != NUMBER:
                continue
            value, how = number_at(text, starts[at], ends[at], comma)
            if how == GOOD and not limits[channel, 0] <= value <= limits[channel, 1]:
                how = BAD
            if how == GOOD:
                first = counts[interval, channel] == 0
                lows[interval, channel] = value if first else min(lows[interval, channel], value)
                highs[interval, channel] = value if first else max(highs[interval, channel], value)
                sums[interval, channel] += value
                offsets[interval, channel] += moment - first_s - interval * width_s
                counts[interval, channel] += 1
            else:
                tally[2 if how == EMPTY else 3] += 1
            channel += 1
