"""The web application: routes, the error tree, the docs without internet, and the clock in its lifespan."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from fastapi_offline import FastAPIOffline

from service import problems
from service.body_limit import BodyLimit
from service.calendar import routes as calendar_routes
from service.calibration import routes as calibration_routes
from service.checks import routes as check_routes
from service.clock import routes as clock_routes
from service.clock.now import now_utc
from service.clock.pass_clock import PassClock
from service.close_outs import list_routes as close_out_list_routes
from service.close_outs import routes as close_out_routes
from service.compression import Compression
from service.conditional import ConditionalGet
from service.contamination import routes as contamination_routes
from service.database import Database
from service.demand import routes as demand_routes
from service.description import completing
from service.diagnoses import routes as diagnosis_routes
from service.due import routes as due_routes
from service.due.kept_pages import KeptPages
from service.evidence import routes as evidence_routes
from service.evidence.content import LARGEST_FILE_BYTES
from service.exports import routes as export_routes
from service.feed import routes as feed_routes
from service.feed.waiting import FeedWatch
from service.imports import routes as import_routes
from service.keys import routes as key_routes
from service.keys.keeping import Caller
from service.known_host import KnownHost
from service.lives import routes as life_routes
from service.master import routes as master_routes
from service.oil import routes as oil_routes
from service.pages import card_shell
from service.pages import routes as page_routes
from service.rate_limit import RateLimit
from service.readings import routes as reading_routes
from service.replay import routes as replay_routes
from service.request_ids import RequestIds
from service.settings import Settings
from service.stock import routes as stock_routes
from service.strict_json import StrictJson
from service.webhooks import routes as webhook_routes
from service.webhooks.courier import Courier
from service.webhooks.retention import FeedRetention
from service.webhooks.sending import Sender
from service.webhooks.targets import Targets
from service.whole_address import WholeAddress
from service.work_orders import routes as work_order_routes
from service.work_orders import taking_over_routes

ROUTERS: tuple[APIRouter, ...] = (
    export_routes.router,  # before the routes whose paths end in a code
    due_routes.router,
    calibration_routes.router,
    demand_routes.router,
    work_order_routes.router,
    taking_over_routes.router,
    check_routes.router,
    close_out_routes.router,
    close_out_list_routes.router,
    evidence_routes.router,
    oil_routes.router,
    stock_routes.router,
    calendar_routes.router,
    feed_routes.router,
    webhook_routes.router,
    diagnosis_routes.router,
    contamination_routes.router,
    replay_routes.router,
    life_routes.router,
    import_routes.router,
    master_routes.router,
    reading_routes.router,
    clock_routes.router,
    key_routes.router,
)
"""The API, each router under `/v1`."""


def create_app(
    database: Database, settings: Settings, *, ticks: bool = True, local_caller: Caller | None = None
) -> FastAPI:
    """The application over an open, migrated database.

    `ticks` false leaves the clock still. `local_caller` answers for everybody: for the command line that calls the
    application in its own process, never for a server.
    """
    source = f"{settings.public_address or ''}/v1/feed"
    targets = Targets(settings.webhook_targets)
    clock = PassClock(database, settings.pass_every_minutes, now_utc, FeedRetention(settings.feed_kept_days, source))
    courier = Courier(database, Sender(targets), now_utc, source)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        if ticks:
            clock.start()
            courier.start()
        try:
            yield
        finally:
            courier.stop()
            clock.stop()

    app: FastAPI = FastAPIOffline(
        title="elementdue",
        version="1",
        summary="When each filter element, strainer and breather is due, why, with which parts and which oil.",
        lifespan=lifespan,
        generate_unique_id_function=completing.operation_id,
        redoc_url=None,  # its page asks a server elsewhere for a logo
        swagger_ui_parameters={"validatorUrl": None},  # by default the description is shown to a validator elsewhere
    )
    app.state.database = database
    app.state.clock = clock
    app.state.webhook_targets = targets
    app.state.feed_watch = FeedWatch(database)
    app.state.due_pages = KeptPages()
    app.state.local_caller = local_caller
    app.state.public_address = settings.public_address
    problems.install(app)
    completing.install(app)
    for router in ROUTERS:
        app.include_router(router, prefix="/v1")
    app.include_router(page_routes.router)
    app.include_router(card_shell.router)
    app.add_middleware(WholeAddress)  # the one added last is the outermost
    app.add_middleware(StrictJson, prefix="/v1/")
    app.add_middleware(
        BodyLimit,
        largest_bytes=settings.largest_body_bytes,
        largest_import_bytes=settings.largest_import_bytes,
        largest_file_bytes=LARGEST_FILE_BYTES,
        largest_readings_bytes=settings.largest_readings_bytes,
    )
    app.add_middleware(ConditionalGet, prefix="/v1/")
    app.add_middleware(Compression)
    if local_caller is None and settings.requests_per_minute:
        app.add_middleware(RateLimit, per_minute=settings.requests_per_minute)
    app.add_middleware(KnownHost, allowed=settings.allowed_hosts)
    app.add_middleware(RequestIds)
    return app
