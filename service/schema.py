"""Every table of the service, gathered so that migrations see one whole."""

from service.calibration.tables import calibration
from service.checks.tables import checks
from service.close_outs.tables import close_out_corrections, close_outs
from service.database import metadata
from service.demand.tables import demand_forecasts
from service.diagnoses.tables import diagnoses, diagnosis_remarks
from service.due.tables import due_items, due_moves, learned_curves, life_priors, passes
from service.evidence.tables import evidence_files
from service.feed.tables import feed, feed_newest, feed_told, feed_told_dates
from service.imports.tables import imports
from service.keys.tables import api_keys, kept_answers
from service.plant_folder.tables import TABLE
from service.replay.tables import replay_steps, replays
from service.stock.tables import oil_movements, receipts, stock_discrepancies, stock_movements
from service.webhooks.tables import webhook_deliveries, webhooks
from service.work_orders.history import order_history
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

TABLES = (
    *TABLE.values(),
    *(
        passes,
        due_items,
        due_moves,
        learned_curves,
        life_priors,
        calibration,
        demand_forecasts,
        diagnoses,
        diagnosis_remarks,
        work_orders,
        tasks,
        oil_picks,
        order_history,
        picks,
        close_outs,
        close_out_corrections,
        evidence_files,
        checks,
        replays,
        replay_steps,
    ),
    *(feed, feed_newest, feed_told, feed_told_dates, webhooks, webhook_deliveries),
    *(stock_movements, oil_movements, stock_discrepancies, receipts, imports, api_keys, kept_answers),
)

__all__ = ["TABLES", "metadata"]
