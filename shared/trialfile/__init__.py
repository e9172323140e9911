"""Reading ``trial.toml``: the whole file checked, every problem at once, each with its line."""

from weldtrial.shared.trialfile.reader import load_trial, read_trial, reread_trial

__all__ = ["load_trial", "read_trial", "reread_trial"]
