"""Public names and where they live; the package fetches each when it is first used."""

from .errors import GuardoptError as GuardoptError
from .errors import InputError as InputError
from .errors import NoKitError as NoKitError
from .errors import OutOfTimeError as OutOfTimeError
from .errors import SolverError as SolverError
from .learning.fall_log import Log as Log
from .learning.learn import Learned as Learned
from .learning.learn import learn as learn
from .loading.load import load as load
from .model.aims import Aim as Aim
from .model.aims import Status as Status
from .model.scenario import Scenario as Scenario
from .pages.budget_slider import BudgetSlider as BudgetSlider
from .questions.bench import Bench as Bench
from .questions.bill import BillReport as BillReport
from .questions.bill import bill as bill
from .questions.budgets import BudgetCurve as BudgetCurve
from .questions.budgets import budgets as budgets
from .questions.explanation.verdicts import Reason as Reason
from .questions.forecast import Forecast as Forecast
from .questions.forecast import forecast as forecast
from .questions.measured.estimate import Estimate as Estimate
from .questions.measured.estimate import estimate as estimate
from .questions.measured.touchdown import Touchdown as Touchdown
from .questions.measured.touchdown import touchdown as touchdown
from .questions.plan import NO_LIMIT as NO_LIMIT
from .questions.plan import plan as plan
from .questions.plan_result import Plan as Plan
from .questions.purchase_schedule import order as order
from .questions.schedule_result import BuyingOrder as BuyingOrder
from .questions.try_values import try_values as try_values
from .reports import plots as plots
from .shop.assortment import kits as kits
from .shop.assortment_result import ReadyKits as ReadyKits
from .shop.quote_file import QuotedFile as QuotedFile
from .shop.quote_file import quote_file as quote_file
from .shop.quotes import quote as quote

__version__: str
