"""The section of an evaluation report on the predicted dosage-unit test, where asked for."""

from collections.abc import Iterator

from assistant.report.document_model import Block, Heading, Text, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import fixed, share


def predictive_sentence(case: Case) -> str:
    """The predicted probability in one sentence; "" where it is not asked for."""
    found = case.prediction
    if found is None:
        return ""
    chance, error = _chance(found.passes, found.trials)
    source = "dosage units" if case.predicted_from_units else "blend samples"
    return (
        f"predicted probability that a further sample passes the dosage-unit test, from the "
        f"{source}, not part of the verdict: {chance} (simulated: {error})"
    )


def _chance(probability: float, trials: int) -> tuple[str, str]:
    """A simulated probability and its error; one that no trial contradicts is not called certain.

    With no event in n trials its probability is below 3 / n at 95 % confidence, since
    (1 - 3 / n)^n is about 0.05.
    """
    least = f"{fixed(300 / trials, 3)} %"
    if probability == 1.0:
        return "> 99.9 %", f"no trial failed; fails in less than {least}"
    if probability == 0.0:
        return "< 0.1 %", f"no trial passed; passes in less than {least}"
    error = (probability * (1 - probability) / trials) ** 0.5
    return share(probability), f"standard error {fixed(100 * error)} %"


def predictive(case: Case) -> Iterator[Block]:
    """The probability, how it was found, and what it assumes."""
    found = case.prediction
    if found is None:
        return
    yield Heading("Predicted dosage-unit test")
    yield Text(
        "The probability that 10, or else 30, further units of this batch would pass <905>, given "
        "these results. It allows for what the results leave open about the batch's mean and "
        "spread. No criterion uses it, and the verdict does not depend on it."
    )
    yield table(
        [
            ("predicted", 0.4, "left"),
            ("probability", 0.2, "right"),
            ("error of the simulation", 0.4, "right"),
        ],
        [
            ("passes with 10 units (stage 1)", *_chance(found.stage_1, found.trials)),
            ("passes with 10 or else 30 units", *_chance(found.passes, found.trials)),
        ],
        note=f"{found.trials} simulated batches, seed {found.seed}; where every trial "
        "agrees, the limit has a confidence level of 95 %.",
    )
    yield Text(" ".join(_assumed(case)), "small")


def _assumed(case: Case) -> Iterator[str]:
    found, target = case.prediction, case.study.options.demand.target
    yield (
        "Method: mean and mean squares are drawn from their distributions given the results (flat "
        "priors for the mean and for the logarithm of each mean square; the component between "
        "locations is cut at 0), then 30 units from the batch so drawn, each from another "
        f"location. T is {target:g} %. Assumed: normal results, and locations like a random sample "
        "of the batch."
    )
    if found is not None and found.approximate:
        yield "The numbers of results differ, so the prediction is approximate beyond that."
    if case.predicted_from_units:
        yield "It rests on the contents of the dosage units."
    else:
        yield (
            "It rests on the blend samples: what filling and compression add, the spread of the "
            "units' masses first of all, is left out, and what the sampling adds is part of it."
        )
