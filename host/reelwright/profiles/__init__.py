"""Jobs from files and flags, and the named spools, strands and machines they may use."""

from reelwright.profiles.jobs import build_job, is_job_file, load_job, load_part
from reelwright.profiles.store import KINDS, profile_names

__all__ = ["KINDS", "build_job", "is_job_file", "load_job", "load_part", "profile_names"]
