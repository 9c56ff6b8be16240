"""What papers say, gathered from rows."""

from .agreements import agreement_facts as agreement_facts
from .agreements import renewal_facts as renewal_facts
from .handover import handover_facts as handover_facts
from .jobs import crew_sheet_facts as crew_sheet_facts
from .notes import Receiver as Receiver
from .notes import activity_of as activity_of
from .notes import season_facts as season_facts
from .notes import transfer_facts as transfer_facts
from .people import issuer_of as issuer_of
from .people import place_words as place_words
from .people import transferor_of as transferor_of
from .visits import service_record_facts as service_record_facts
