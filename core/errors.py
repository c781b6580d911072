"""The one way Roundsheet says no."""


class Refused(Exception):
    """Something that cannot be taken.

    `rule` is the short name of the rule it breaks (stable, for problem lists and tests);
    `sentence` says what is wrong, with the value, and what to do: one sentence for a person.
    """

    def __init__(self, rule: str, sentence: str) -> None:
        super().__init__(sentence)
        self.rule = rule
        self.sentence = sentence
