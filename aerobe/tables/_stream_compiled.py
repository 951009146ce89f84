# mypy: disable-error-code="no-untyped-def"
"""The compiled core of reading a long log: bytes of lines to lowest, highest, sum and number in each interval of time.

It stands in one file because the cache of compiled code watches one file only.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# Kinds of a column: not used, a number, time as a number, a date with or without a clock (fields in the order of `order`), a
# clock alone that is added to the date, a name of a brew.
UNUSED, NUMBER, TIME_NUMBER, TIME_CLOCK, TIME_OF_DAY, LABEL = 0, 1, 2, 3, 4, 5
GOOD, EMPTY, BAD, UNUSED_NUMBER = 0, 1, 2, 3


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
def _behind_clock(text, place, end):
    """What stands behind a clock: half of the day (-1: not said), offset from universal time in seconds, and where it ends."""
    half, shift = -1, 0.0
    while place < end and text[place] in (32, 34, 13):
        place += 1
    if place + 1 < end and text[place] in (65, 97, 80, 112) and text[place + 1] in (77, 109):
        half = 1 if text[place] in (80, 112) else 0
        place += 2
    if place < end and text[place] == 90:
        place += 1
    elif place + 4 < end and text[place] in (43, 45):
        digits, sign = 0, 1.0 if text[place] == 43 else -1.0
        value = 0
        at = place + 1
        while at < end and (48 <= text[at] <= 57 or text[at] == 58) and digits < 4:
            if text[at] != 58:
                value = value * 10 + (text[at] - 48)
                digits += 1
            at += 1
        if digits == 4:
            shift, place = sign * (value // 100 * 3600.0 + value % 100 * 60.0), at
    while place < end and text[place] in (32, 34, 13):
        place += 1
    return half, shift, place


@njit(cache=True, nogil=True)
def label_at(text, starts, ends, kinds):
    """One number for the names of a line, and the same for the same names."""
    found = np.uint64(14695981039346656037)
    for at in range(len(kinds)):
        if kinds[at] != LABEL:
            continue
        start, end = starts[at], ends[at]
        while start < end and (text[start] == 32 or text[start] == 34):
            start += 1
        while end > start and (text[end - 1] == 32 or text[end - 1] == 34 or text[end - 1] == 13):
            end -= 1
        for place in range(start, end):
            found = (found ^ np.uint64(text[place])) * np.uint64(1099511628211)
        found = (found ^ np.uint64(31)) * np.uint64(1099511628211)
    return found


@njit(cache=True, nogil=True)
def find_labels(text, mark, kinds, hashes, known, spans):
    """Names that are new in these lines: into `hashes`, and where they stand, shape (names, columns, 2); how many now."""
    columns = len(kinds)
    starts, ends = np.zeros(columns, np.int64), np.zeros(columns, np.int64)
    place, size, last = 0, len(text), np.uint64(0)
    while place < size:
        column, place = _cells(text, place, mark, starts, ends)
        if column < columns:
            continue
        here = label_at(text, starts, ends, kinds)
        if here == last:
            continue
        last = here
        new = True
        for at in range(known):
            if hashes[at] == here:
                new = False
                break
        if new:
            if known >= len(hashes):
                return known + 1
            hashes[known] = here
            for at in range(columns):
                spans[known, at, 0], spans[known, at, 1] = starts[at], ends[at]
            known += 1
    return known


@njit(cache=True, nogil=True)
def _cells(text, place, mark, starts, ends):
    """Where the cells of a line stand; how many it has, and where the next line begins."""
    columns, column, cell, quoted = len(starts), 0, place, False
    size = len(text)
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
    return column + 1, place + 1


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
    half, shift, place = _behind_clock(text, place, end)
    if place != end:
        return 0.0, BAD  # a word behind it: not a plain clock
    if half >= 0:
        if not 1 <= parts[3] <= 12:
            return 0.0, BAD
        parts[3] = parts[3] % 12 + 12 * half
    year, month, day = parts[0], parts[1], parts[2]
    if order == 1:
        year, month, day = parts[2], parts[1], parts[0]
    elif order == 2:
        year, month, day = parts[2], parts[0], parts[1]
    if year < 100:
        year += 2000
    if not (1900 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31 and parts[3] < 25 and parts[4] < 60 and parts[5] < 61):
        return 0.0, BAD
    if parts[3] == 24 and (parts[4] > 0 or parts[5] > 0):
        return 0.0, BAD
    return days_of(year, month, day) * 86400.0 + parts[3] * 3600.0 + parts[4] * 60.0 + parts[5] + fraction - shift, GOOD


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
def moment_of_line(text, starts, ends, kinds, comma, order, factor_s, origin_s):
    """The moment of a line in seconds, and whether it is GOOD."""
    moment, state = 0.0, BAD
    for at in range(len(kinds)):
        part, how = 0.0, GOOD
        if kinds[at] == TIME_NUMBER:
            part, how = number_at(text, starts[at], ends[at], comma)
            part = part * factor_s + origin_s
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
def fold_lines(
    text, mark, comma, kinds, order, factor_s, origin_s, zone, width_s, first_s, limits, odd, drop, hashes,
    odd_counts, lasts, backs, bad_at, lows, highs, sums, counts, offsets, tally
):  # fmt: skip
    """Fold whole lines into intervals of `width_s` from `first_s`.

    `zone` has for each hour of the local clock from `zone[0, 0]` on: offset of its first and its second coming, and 1 where the
    hour never was, shape (1 + hours, 3). `limits` are the lowest and highest number that a channel can show, shape (channels, 2);
    numbers of `odd` are counted in `odd_counts` and left out where `drop` says so, both of shape (channels, odd). `hashes` are
    the names of brews; arrays `lows` to `offsets` have shape (names * intervals, channels). `lasts` and `backs` hold by name
    the last moment, and how often time went back by more than an interval and where first, shape (names,) and (names, 2).
    `bad_at` takes where lines without a time begin. `tally`: rows, bad rows, empty cells, bad cells, rows outside all intervals,
    first and last moment, rows in an hour that never was, rows in its second coming, places in `bad_at`.
    """
    columns = len(kinds)
    starts, ends = np.zeros(columns, np.int64), np.zeros(columns, np.int64)
    place, size = 0, len(text)
    names = max(len(hashes), 1)
    intervals, hours, name = lows.shape[0] // names, zone.shape[0] - 1, 0
    while place < size:
        begun = place
        column, place = _cells(text, place, mark, starts, ends)
        if place - begun <= 2:
            continue
        tally[0] += 1
        moment, state = 0.0, BAD
        if column >= columns:
            moment, state = moment_of_line(text, starts, ends, kinds, comma, order, factor_s, origin_s)
        if state != GOOD:
            tally[1] += 1
            if tally[9] < len(bad_at):
                bad_at[int(tally[9])] = begun
                tally[9] += 1
            continue
        if len(hashes) > 0:
            here = label_at(text, starts, ends, kinds)
            if hashes[name] != here:
                for at in range(names):
                    if hashes[at] == here:
                        name = at
                        break
        if hours > 0:
            hour = int(moment // 3600.0 - zone[0, 0])
            if 0 <= hour < hours:
                if zone[1 + hour, 2] > 0.0:
                    tally[7] += 1
                    continue
                first, second = moment - zone[1 + hour, 0], moment - zone[1 + hour, 1]
                moment = first
                if first < lasts[name] < second:
                    moment = second
                    tally[8] += 1
        tally[5] = min(tally[5], moment)
        tally[6] = max(tally[6], moment)
        interval = int((moment - first_s) // width_s)
        if interval < 0 or interval >= intervals:
            tally[4] += 1
            continue
        interval += name * intervals
        channel, any_good = 0, False
        for at in range(columns):
            if kinds[at] != NUMBER:
                continue
            value, how = number_at(text, starts[at], ends[at], comma)
            if how == GOOD and (value == 0.0 or not -98.0 < value < 65.5):
                for one in range(len(odd)):
                    if odd[one] == value:
                        odd_counts[channel, one] += 1
                        if drop[channel, one]:
                            how = UNUSED_NUMBER
                        break
            if how == GOOD and not limits[channel, 0] <= value <= limits[channel, 1]:
                how = BAD
            if how == GOOD:
                fresh = counts[interval, channel] == 0
                lows[interval, channel] = value if fresh else min(lows[interval, channel], value)
                highs[interval, channel] = value if fresh else max(highs[interval, channel], value)
                sums[interval, channel] += value
                offsets[interval, channel] += moment - first_s - (interval - name * intervals) * width_s
                counts[interval, channel] += 1
                any_good = True
            elif how != UNUSED_NUMBER:
                tally[2 if how == EMPTY else 3] += 1
            channel += 1
        if any_good:
            if moment < lasts[name] - width_s:
                backs[name, 0] += 1
                if backs[name, 0] == 1:
                    backs[name, 1] = tally[0]
            lasts[name] = moment
