"""Tables, columns only: a file for each thing that is kept. Importing this package imports every table."""

from server.models.backup import BackupCopy, Restoration, RestoreProof
from server.models.change import FieldChange
from server.models.clinic import Clinic
from server.models.component import Component
from server.models.contact import ContactAttempt, Flag
from server.models.data_lock import DataLock
from server.models.envelope import Envelope
from server.models.finding import ClinicEvent, ClinicFinding, KnownStatus
from server.models.follow_up import FollowUp, Timepoint, Transition
from server.models.gate import Gate, GateFetch, GateProof, GateTries
from server.models.holiday import ClinicHoliday
from server.models.ladder import InstalledLadder, LadderChoice
from server.models.life_table import InstalledLifeTable
from server.models.link import Link, LinkBirthDate
from server.models.message import Message
from server.models.notice import ClinicNotice
from server.models.operation import Operation, OperationLog, Shoulder
from server.models.patient import Consent, HospitalNumber, Patient, PatientMerge
from server.models.plan import InstalledPlan
from server.models.response import Response, ResponseMend, Score
from server.models.safety_net import SafetyLook, SafetyNet, SafetyNotice
from server.models.second_factor import StaffAuthenticatorApp, StaffPasskey, StaffRecoveryCode
from server.models.series import Series, SeriesLook, SeriesVersion, ShouldersLook
from server.models.silence_draw import SilenceDraw
from server.models.staff import AuditEntry, SignInTries, StaffAccount, StaffInvitation, StaffSession
from server.models.text import InstalledText, SealingKey, TextDecision, TextWithdrawal
from server.models.view import PatientView
from server.store.base import Base

__all__ = [
    "AuditEntry",
    "BackupCopy",
    "Base",
    "Clinic",
    "ClinicEvent",
    "ClinicFinding",
    "ClinicHoliday",
    "ClinicNotice",
    "Component",
    "Consent",
    "ContactAttempt",
    "DataLock",
    "Envelope",
    "FieldChange",
    "Flag",
    "FollowUp",
    "Gate",
    "GateFetch",
    "GateProof",
    "GateTries",
    "HospitalNumber",
    "InstalledLadder",
    "InstalledLifeTable",
    "InstalledPlan",
    "InstalledText",
    "KnownStatus",
    "LadderChoice",
    "Link",
    "LinkBirthDate",
    "Message",
    "Operation",
    "OperationLog",
    "Patient",
    "PatientMerge",
    "PatientView",
    "Response",
    "ResponseMend",
    "Restoration",
    "RestoreProof",
    "SafetyLook",
    "SafetyNet",
    "SafetyNotice",
    "Score",
    "SealingKey",
    "Series",
    "SeriesLook",
    "SeriesVersion",
    "Shoulder",
    "ShouldersLook",
    "SignInTries",
    "SilenceDraw",
    "StaffAccount",
    "StaffAuthenticatorApp",
    "StaffInvitation",
    "StaffPasskey",
    "StaffRecoveryCode",
    "StaffSession",
    "TextDecision",
    "TextWithdrawal",
    "Timepoint",
    "Transition",
]
