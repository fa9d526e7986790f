"""`elementdue demand`: what will be used, what to buy by when, and whether such forecasts came true."""

from dataclasses import replace
from typing import Annotated

import typer

from service.cli.demand_tables import print_buying, print_demand, print_learned, tell
from service.cli.opening import AsOfOption, DatabaseOption, moments_of, open_database
from service.cli.written import WriteOption, kind_of, write_sheets
from service.clock.now import now_utc
from service.clock.turn import moment_of_turn
from service.demand.answering import EVERYTHING, buying_page, demand_page
from service.demand.computing import USUAL_LEVEL, USUAL_REVIEW_D, Question
from service.demand.learned import learned_from
from service.demand.periods import MOST_AHEAD, USUAL_AHEAD, PeriodKind
from service.demand.sheets import buying_sheet, demand_sheet


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("demand")(demand)


def demand(
    database: DatabaseOption = None,
    as_of: AsOfOption = None,
    period: Annotated[PeriodKind, typer.Option(help="Of the first plant's calendar.")] = PeriodKind.MONTH,
    periods: Annotated[int | None, typer.Option(min=1, help="How many; by default 26 weeks or 12 months.")] = None,
    level: Annotated[float, typer.Option(min=0.5, max=0.9999, help="Probability with which stock is to last.")] = (
        USUAL_LEVEL
    ),
    lead_time: Annotated[
        float | None,
        typer.Option("--lead-time", metavar="DAYS", min=0.0, max=1000.0, help="What if every item took so long?"),
    ] = None,
    review: Annotated[
        float, typer.Option(metavar="DAYS", min=0.0, max=366.0, help="From one ordering to the next.")
    ] = USUAL_REVIEW_D,
    at_least: Annotated[
        list[int] | None, typer.Option("--at-least", metavar="COUNT", min=0, help="Also the probability of that use.")
    ] = None,
    item: Annotated[str | None, typer.Option(metavar="CODE", help="Only this part number or fluid.")] = None,
    buying: Annotated[bool, typer.Option("--buying", help="What to order, by when and why.")] = False,
    learned: Annotated[bool, typer.Option("--learned", help="Earlier forecasts against what was used.")] = False,
    write: WriteOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="As GET /v1/demand answers.")] = False,
) -> None:
    """How much of each part and oil will be used, what runs out when, and what to order by which day."""
    if buying and learned:
        raise typer.BadParameter("take one of --buying and --learned")
    ahead = USUAL_AHEAD[period] if periods is None else periods
    if ahead > MOST_AHEAD[period]:
        raise typer.BadParameter(f"{ahead} {period}s ahead are more than {MOST_AHEAD[period]}")
    if write is not None:
        kind_of(write)
    opened = open_database(database)
    now = now_utc()
    if learned:
        with opened.reading() as connection:
            so_far = learned_from(connection, now)
        tell(so_far, print_learned, as_json=as_json)
        return
    moment = now if as_of is None else max(moments_of(as_of, opened).values(), default=now)
    question = Question(moment, as_of is not None, period, ahead, level, lead_time, review)
    with opened.reading() as connection:
        if as_of is None:
            question = replace(question, as_of=moment_of_turn(connection, moment))
        if buying:
            to_buy = buying_page(connection, question, limit=EVERYTHING)
        else:
            counts = tuple(at_least or ())
            found = demand_page(connection, question, limit=EVERYTHING, at_least=counts, only=item)
    if write is not None:
        write_sheets(write, [buying_sheet(to_buy) if buying else demand_sheet(found)])
    elif buying:
        tell(to_buy, print_buying, as_json=as_json)
    else:
        tell(found, print_demand, as_json=as_json)
