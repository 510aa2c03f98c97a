"""What somebody reads who asks for help."""

import click
import pytest
from click.testing import CliRunner

from guardopt.cli import commands as cli

COMMANDS = sorted(cli.main.commands)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_option_is_explained_within_eighty_columns(command: str) -> None:
    """Whoever asks for help finds a sentence for each."""
    shown = CliRunner().invoke(cli.main, [command, "--help"], prog_name="guardopt")
    assert shown.exit_code == 0
    assert all(len(line) <= 80 for line in shown.output.splitlines())
    options = [one for one in cli.main.commands[command].params if isinstance(one, click.Option)]
    assert [one.name for one in options if not one.help] == []


def test_help_lists_the_commands_and_says_what_guards_do_not_do() -> None:
    """The first screen a newcomer sees; without any words it comes as well, as bad usage."""
    runner = CliRunner()
    shown, bare = runner.invoke(cli.main, ["--help"]), runner.invoke(cli.main, [])
    assert shown.exit_code == 0
    assert bare.exit_code == 2
    for command in COMMANDS:
        assert f"\n  {command} " in shown.output
    assert "protect the machine, not the rider" in " ".join(shown.output.split())
    assert shown.output.strip() in bare.output
