"""`/v1/demand`: what will be used, what to buy, and whether such forecasts came true.

For keys of all plants: one stock serves them all, and what one plant needs of it says nothing of when it runs out.
"""

from dataclasses import replace
from datetime import datetime
from typing import Annotated, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Depends, Query, Response

from api_schemas.demand import BuyingList, DemandLearned, DemandList
from api_schemas.moments import Moment
from api_schemas.problems import MemberProblem
from service.clock.turn import moment_of_turn
from service.cursors import PageAfter, read_cursor
from service.demand.answering import EVERYTHING, LONGEST_PAGE, Place, buying_page, demand_page, place_in_demand
from service.demand.computing import USUAL_LEVEL, USUAL_REVIEW_D, Question
from service.demand.learned import learned_from
from service.demand.periods import MOST_AHEAD, USUAL_AHEAD, PeriodKind
from service.demand.sheets import buying_sheet, demand_sheet
from service.dependencies import Now, OpenDatabase, ReaderOfAll
from service.exports.answering import FILES, FileFormat, file_answer
from service.problems import BadInput

router = APIRouter(tags=["demand"])

PageLimit = Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Items on a page.")]


class Asking:
    """The question in a request's address, and where its page begins."""

    def __init__(
        self,
        now: Now,
        as_of: Annotated[
            Moment | None, Query(description="From what was known at that time; by default from what is known now.")
        ] = None,
        period: Annotated[PeriodKind, Query(description="Of the first plant's calendar.")] = PeriodKind.MONTH,
        periods: Annotated[int | None, Query(ge=1, le=max(MOST_AHEAD.values()), description="How many.")] = None,
        level: Annotated[
            float, Query(ge=0.5, le=0.9999, description="Probability with which stock is to last.")
        ] = USUAL_LEVEL,
        lead_time_d: Annotated[
            float | None, Query(ge=0.0, le=1000.0, description="What if every item took that many days to come?")
        ] = None,
        review_d: Annotated[
            float, Query(ge=0.0, le=366.0, description="Days between one ordering and the next.")
        ] = USUAL_REVIEW_D,
        cursor: PageAfter = None,
    ) -> None:
        ahead = USUAL_AHEAD[period] if periods is None else periods
        if ahead > MOST_AHEAD[period]:
            says = f"{ahead} {period}s ahead are more than {MOST_AHEAD[period]}"
            raise BadInput(says, [MemberProblem(member="periods", value=str(ahead), says=says)])
        anchor: datetime | None = None
        self.after: Place | None = None
        if cursor is not None:
            anchor, self.after = self._key(cursor)
        moment = anchor or as_of or now
        self._question = Question(moment, as_of is not None, period, ahead, level, lead_time_d, review_d)
        self._is_now = as_of is None and anchor is None

    def _key(self, cursor: str) -> tuple[datetime, Place]:
        """The moment for which the pages before were computed, and the last item on them."""
        moment, *key = read_cursor(cursor, "demand", datetime, str, str)
        return moment, place_in_demand(*key)

    def question_in(self, connection: sa.Connection) -> Question:
        """The question; one that says nothing of a time is of what is recorded in this very transaction."""
        if not self._is_now:
            return self._question
        return replace(self._question, as_of=moment_of_turn(connection, self._question.as_of))


class AskingWhatToBuy(Asking):
    """The same of the buying list, whose pages are in another order."""

    def _key(self, cursor: str) -> tuple[datetime, Place]:
        moment, *key = read_cursor(cursor, "buying", datetime, float, float, str)
        return moment, tuple(key)


Asked = Annotated[Asking, Depends()]


@router.get("/demand", summary="What will be used of each part and oil, and when stock runs out")
def list_demand(
    _caller: ReaderOfAll,
    database: OpenDatabase,
    asked: Asked,
    item: Annotated[str | None, Query(max_length=200, description="Only this part number or fluid.")] = None,
    at_least: Annotated[
        list[Annotated[int, Query(ge=0, le=1_000_000)]] | None,
        Query(max_length=20, description="Also the probability that so much is used or more."),
    ] = None,
    limit: PageLimit = LONGEST_PAGE,
) -> DemandList:
    """Distributions per period and from now on, under the plan as it stands; nothing is changed by asking."""
    with database.reading() as connection:
        return demand_page(
            connection,
            asked.question_in(connection),
            after=asked.after,
            limit=limit,
            at_least=tuple(at_least or ()),
            only=item,
        )


@router.get("/demand/buying", summary="What to order, how much, by when and why")
def list_buying(
    _caller: ReaderOfAll,
    database: OpenDatabase,
    asked: Annotated[AskingWhatToBuy, Depends()],
    limit: PageLimit = LONGEST_PAGE,
) -> BuyingList:
    """One list of everything that has to be ordered within the periods asked, the most urgent first."""
    with database.reading() as connection:
        return buying_page(connection, asked.question_in(connection), after=asked.after, limit=limit)


@router.get(
    "/demand/file", summary="Demand or buying list as CSV or workbook", response_class=Response, responses=FILES
)
def write_file(
    _caller: ReaderOfAll,
    database: OpenDatabase,
    asked: Asked,
    list_: Annotated[Literal["demand", "buying"], Query(alias="list")] = "demand",
    format_: FileFormat = "csv",
) -> Response:
    """Every item, whatever the page; units in the headers."""
    with database.reading() as connection:
        question = asked.question_in(connection)
        if list_ == "demand":
            sheet = demand_sheet(demand_page(connection, question, limit=EVERYTHING))
        else:
            sheet = buying_sheet(buying_page(connection, question, limit=EVERYTHING))
    return file_answer(format_, [sheet], question.as_of)


@router.get("/demand/learned", summary="Forecast against used")
def show_learned(_caller: ReaderOfAll, database: OpenDatabase, now: Now) -> DemandLearned:
    """The forecasts that the first pass of each month kept, of periods that have passed."""
    with database.reading() as connection:
        return learned_from(connection, now)
