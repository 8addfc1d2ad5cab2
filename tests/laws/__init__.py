"""The laws: what holds for any record, of any kind, under any lawful rulebook."""
