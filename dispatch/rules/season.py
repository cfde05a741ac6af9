"""What a season is usually like, in words that nobody can take for a forecast."""

from calendar import month_name

from weather.rules.seasonal import SeasonalOdds, days_in_words


def season_sentence(odds: SeasonalOdds) -> str:
    """ "Usually wet on 1 day in 3 here in December: a season's habit, not a forecast." """
    told = f"Usually wet on {days_in_words(odds.day)} here in {month_name[odds.month]}"
    habit = f"{told}: a season's habit, not a forecast."
    if odds.own_days or odds.table == "the branch":
        return habit
    return f"{habit} Nothing was counted here yet: it is that of {odds.table}."
