#!/usr/bin/env python3
"""No output replaces what it did not make, and nothing that a command reads; every command that writes a file."""
import os
import shutil
import signal
import stat
import subprocess
import sys
import time
import unittest

sys.dont_write_bytecode = True
from _program import DOWNHILL, PROGRAM, ROOT, Folder, need_program  # noqa: E402

STEP = os.path.join(ROOT, "cases", "valve", "step.yaml")
SHORT = ("--set", "simulation.end_time=0.2 s")


def inode(path):
    return os.stat(path).st_ino


class Outputs(Folder):
    """A case with a machine file beside it, a short run of it, a study of two cases and its table."""

    def setUp(self):
        super().setUp()
        machines = os.path.join(ROOT, "cases", "machines")
        self.write("machine.yaml", self.text_of(os.path.join(machines, "forwarder.yaml")))
        self.case = self.write("case.yaml", "machine: machine.yaml\nsimulation: {end_time: 0.2 s}\n"
                                            "ground:\n  grade: {file: road.csv}\n")
        self.write("road.csv", "distance [m],grade [%]\n0,0\n100,1\n")
        self.write("points.csv", "vehicle.mass [t]\n10\n11\n")
        self.study = self.write("study.yaml", "case: case.yaml\narrange: points\npoints: points.csv\n")
        self.write("trace.csv", "time [s],pressure [bar]\n" + "".join(f"{0.01 * k:.2f},{20 + k}\n" for k in range(20)))
        self.write("map.yaml", "time: {column: time}\nsignals:\n"
                               "  - {signal: line_a_pressure, column: pressure}\n")

    @staticmethod
    def text_of(path):
        with open(path, encoding="utf-8") as file:
            return file.read()

    def refused(self, words, *arguments, kept, code=2):
        """The command ends with `code`, and the file is the one that it was."""
        path = self.path(kept)
        with open(path, "rb") as file:
            before = file.read()
        number = inode(path)
        result = self.expect(code, *arguments)
        self.assertIn(words, result.stderr)
        with open(path, "rb") as file:
            self.assertEqual(file.read(), before)
        self.assertEqual(inode(path), number)
        self.assertFalse([name for name in self.files() if name.endswith((".part", ".journal", ".new"))])

    def commands(self):
        """Each command that writes a file, without its output, and the files that it reads."""
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
        self.expect(0, "sweep", self.study, "-o", "s0.h5", "--shard", "0/2", "--quiet")
        self.expect(0, "sweep", self.study, "-o", "s1.h5", "--shard", "1/2", "--quiet")
        case = ("case.yaml", "machine.yaml", "road.csv")
        study = case + ("study.yaml", "points.csv")
        return [
            (("run", "case.yaml"), case),
            (("run", "--study", "study.yaml", "--case", "1"), study),
            (("sweep", "study.yaml"), study),
            (("steady", "case.yaml", "--map", "hold_back"), case),
            (("linear", "case.yaml", "--at", "0.1 s"), case),
            (("sensitivity", "case.yaml", "--to", "relief.setting"), case),
            (("compare", "run.h5", "trace.csv", "--map", "map.yaml"), ("run.h5", "trace.csv", "map.yaml")),
            (("fit", "case.yaml", "trace.csv", "--map", "map.yaml", "--parameters", "relief.setting"),
             case + ("trace.csv", "map.yaml")),
            (("merge", "s0.h5", "s1.h5"), ("s0.h5", "s1.h5")),
            (("report", "run.h5"), ("run.h5",)),
        ]

    def test_nothing_that_is_read_is_lost(self):
        for arguments, reads in self.commands():
            for name in reads:
                with self.subTest(command=arguments, onto=name):
                    self.refused("which this command reads", *arguments, "-o", name, kept=name)
                    self.refused("which this command reads", *arguments, "-o", name, "--force", kept=name)
                    os.link(self.path(name), self.path("other_name.h5"))
                    os.symlink(self.path(name), self.path("link.h5"))
                    self.refused("which this command reads", *arguments, "-o", "other_name.h5", kept=name)
                    self.refused("which this command reads", *arguments, "-o", "link.h5", "--force", kept=name)
                    os.unlink(self.path("other_name.h5"))
                    os.unlink(self.path("link.h5"))

    def test_the_part_of_an_output_may_be_what_is_read(self):
        shutil.copy(self.path("case.yaml"), self.path("x.h5.part"))
        result = self.expect(2, "run", "x.h5.part", "-o", "x.h5")
        self.assertIn("which this command reads", result.stderr)
        self.assertTrue(os.path.exists(self.path("x.h5.part")))

    def test_what_no_command_made_is_not_replaced(self):
        self.write("notes.h5", "precious")
        for arguments, _ in self.commands():
            with self.subTest(command=arguments):
                self.refused("--force replaces it", *arguments, "-o", "notes.h5", kept="notes.h5")

    def test_force_replaces(self):
        self.write("notes.h5", "precious")
        self.expect(0, "run", self.case, "-o", "notes.h5", "--force", "--quiet")
        self.expect(0, "run", self.case, "-o", "notes.h5", "--quiet")  # its own kind now
        self.expect(0, "report", "notes.h5", "-o", "page.html", "--quiet")
        self.expect(0, "report", "notes.h5", "-o", "page.html", "--quiet")
        self.refused("but a run file", "report", "notes.h5", "-o", self.other_run(), kept="other.h5")

    def other_run(self):
        self.expect(0, "run", self.case, "-o", "other.h5", "--quiet")
        return "other.h5"

    def test_a_finished_table_is_not_run_over(self):
        self.expect(0, "sweep", self.study, "-o", "t.h5", "--quiet")
        self.refused("finished table", "sweep", self.study, "-o", "t.h5", kept="t.h5")
        self.refused("but a table of a sweep", "run", self.case, "-o", "t.h5", kept="t.h5")
        self.expect(0, "sweep", self.study, "-o", "t.h5", "--resume", "--quiet")
        self.expect(0, "sweep", self.study, "-o", "t.h5", "--force", "--quiet")
        self.expect(0, "sweep", self.study, "-o", "s0.h5", "--shard", "0/2", "--quiet")
        self.expect(0, "sweep", self.study, "-o", "s1.h5", "--shard", "1/2", "--quiet")
        self.refused("finished table", "merge", "s0.h5", "s1.h5", "-o", "t.h5", kept="t.h5")

    def test_names_that_are_none(self):
        for arguments, _ in self.commands():
            for name in ("", "-", "folder/"):
                with self.subTest(command=arguments, name=name):
                    before = self.files()
                    result = self.expect(2, *arguments, "-o", name)
                    self.assertIn("expected", result.stderr)
                    self.assertEqual(self.files(), before)

    def test_what_is_no_regular_file_is_refused(self):
        """A pipe, a device, standard output that is a pipe: nothing waits for them, and they stay what they are."""
        commands = self.commands()
        os.mkfifo(self.path("pipe.h5"))
        for arguments, _ in commands:
            for name in ("pipe.h5", "/dev/null", "/dev/stdout"):
                with self.subTest(command=arguments, name=name):
                    before = self.files()
                    result = self.expect(3, *arguments, "-o", name)
                    self.assertIn("no regular file", result.stderr)
                    self.assertEqual(result.stdout, "")
                    self.assertEqual(self.files(), before)
                    self.assertTrue(stat.S_ISFIFO(os.stat(self.path("pipe.h5")).st_mode))

    def test_an_empty_file_is_nothing_to_lose(self):
        self.write("empty.h5", "")
        self.expect(0, "run", self.case, "-o", "empty.h5", "--quiet")

    def test_permissions_are_kept(self):
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
        os.chmod(self.path("run.h5"), 0o640)
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
        self.assertEqual(stat.S_IMODE(os.stat(self.path("run.h5")).st_mode), 0o640)
        os.chmod(self.path("run.h5"), 0o444)
        self.refused("write-protected", "run", self.case, "-o", "run.h5", kept="run.h5")
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet", "--force")

    def test_a_link_is_written_through(self):
        os.mkdir(self.path("far"))
        self.expect(0, "run", self.case, "-o", "far/run.h5", "--quiet")
        os.symlink("far/run.h5", self.path("latest.h5"))
        before = inode(self.path("far/run.h5"))
        self.expect(0, "run", self.case, "-o", "latest.h5", "--quiet")
        self.assertTrue(os.path.islink(self.path("latest.h5")))
        self.assertNotEqual(inode(self.path("far/run.h5")), before)
        os.symlink("nowhere.h5", self.path("lost.h5"))
        self.assertIn("link to nothing", self.expect(3, "run", self.case, "-o", "lost.h5").stderr)

    def test_a_part_that_is_a_link_is_not_followed(self):
        self.write("mine.txt", "precious")
        for name, command in (("r.h5", ("run", self.case)), ("p.html", None)):
            if command is None:
                self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
                command = ("report", "run.h5")
            os.symlink("mine.txt", self.path(name + ".part"))
            result = self.expect(3, *command, "-o", name)
            self.assertIn("in the way", result.stderr)
            self.assertEqual(self.text_of(self.path("mine.txt")), "precious")
            self.assertTrue(os.path.islink(self.path(name + ".part")))
        self.write("x.h5.part", "somebody else's download")
        self.assertIn("did not make it", self.expect(3, "run", self.case, "-o", "x.h5").stderr)
        self.assertEqual(self.text_of(self.path("x.h5.part")), "somebody else's download")

    def interrupted(self, number):
        process = subprocess.Popen([PROGRAM, "run", DOWNHILL, "-o", "run.h5", "--set", "simulation.end_time=100000 s"],
                                   cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        while not os.path.exists(self.path("run.h5.part")):
            time.sleep(0.01)
        time.sleep(0.3)
        process.send_signal(number)
        return process.communicate(timeout=60)[1], process.returncode

    def test_an_interrupted_rerun_keeps_the_earlier_file(self):
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
        number = inode(self.path("run.h5"))
        for kind in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            errors, code = self.interrupted(kind)
            self.assertEqual(code, 130, errors)
            self.assertIn("run.h5 is left as it was; what was computed is in run.h5.part", errors)
            self.assertEqual(inode(self.path("run.h5")), number)
            self.expect(0, "report", "run.h5.part", "-o", "page.html", "--quiet")
        os.unlink(self.path("run.h5"))
        errors, code = self.interrupted(signal.SIGHUP)
        self.assertEqual(code, 130, errors)
        self.assertEqual([name for name in self.files() if name.startswith("run")], ["run.h5"])

    def test_a_pipe_that_nobody_writes_can_be_left(self):
        os.mkfifo(self.path("pipe.csv"))
        self.expect(0, "run", self.case, "-o", "run.h5", "--quiet")
        for arguments in (("run", "pipe.csv"), ("compare", "run.h5", "pipe.csv", "--map", "map.yaml"),
                          ("fit", "case.yaml", "pipe.csv", "--map", "map.yaml", "--parameters", "relief.setting"),
                          ("sweep", "pipe.csv"), ("check", "pipe.csv")):
            process = subprocess.Popen([PROGRAM, *arguments], cwd=self.folder, stdout=subprocess.DEVNULL,
                                       stderr=subprocess.PIPE, text=True)
            time.sleep(0.5)
            self.assertIsNone(process.poll(), arguments)
            process.send_signal(signal.SIGINT)
            errors = process.communicate(timeout=20)[1]
            self.assertIn(process.returncode, (130, -signal.SIGINT), (arguments, errors))

    def test_a_file_outside_is_not_quoted(self):
        os.mkdir(self.path("far"))
        os.mkdir(self.path("here"))
        self.write("far/secret.txt", "password swordfish\nmore swordfish\n")
        self.write("far/secret.csv", "distance [m],swordfish\n0,swordfish\n")
        secret = self.path("far/secret.txt")
        self.write("here/machine.yaml", f"machine: {secret}\n")
        self.write("here/title.yaml", "machine: ../far/secret.txt\n")
        self.write("here/table.yaml", "machine: ../machine.yaml\nground:\n  grade: {file: ../far/secret.csv}\n")
        self.write("here/study.yaml", f"case: {secret}\nvary:\n  - {{path: vehicle.mass, values: [10 t]}}\n")
        self.write("here/points.yaml", "case: ../case.yaml\narrange: points\npoints: ../far/secret.csv\n")
        for arguments in (("check", "machine.yaml"), ("check", "title.yaml"), ("check", "table.yaml"),
                          ("run", "machine.yaml"), ("sweep", "study.yaml"), ("sweep", "points.yaml"),
                          ("steady", "table.yaml", "--map", "hold_back")):
            result = subprocess.run([PROGRAM, *arguments], cwd=self.path("here"), capture_output=True, text=True,
                                    check=False)
            self.assertEqual(result.returncode, 2, result.stderr)
            self.assertNotIn("swordfish", result.stdout + result.stderr, arguments)
            self.assertRegex(result.stderr, r"secret\.\w+", arguments)
        # Below the present folder it is the user's own.
        self.assertIn("swordfish", self.expect(2, "check", "here/table.yaml").stderr)

    def test_nothing_steers_the_terminal(self):
        """Names of files, titles, keys and values with escapes and marks that turn the direction of writing."""
        evil = "a\x1b[2Jb\u202ec\u0085d"
        escaped = 'a\\x1b[2Jb\\u202ec'
        self.write("case.yaml", self.text_of(self.path("case.yaml")) + 'title: "turned \u202e \u2066 round"\n')
        shutil.copy(self.path("case.yaml"), self.path(evil + ".yaml"))
        self.write("key.yaml", "machine: machine.yaml\n\u202evehicle: {}\n")
        self.expect(0, "run", "case.yaml", "-o", "run.h5", "--quiet")
        self.write(evil + ".csv", "time [s],press\u202eure [bar]\n0,1\n")
        for arguments in (("run", evil + ".yaml"), ("run", evil + ".yaml", "--json", "-o", "j.h5"),
                          ("check", evil + ".yaml"), ("check", "case.yaml", "--resolved"), ("check", evil), ("check", "key.yaml"),
                          ("run", "case.yaml", "-o", evil + "/x.h5"), ("report", "run.h5", "-o", evil + ".html"),
                          ("compare", "run.h5", evil + ".csv", "--map", "map.yaml"), ("sweep", evil), (evil,),
                          ("run", "case.yaml", "--" + evil), ("run", "case.yaml", "--set", evil + "=1"),
                          ("list", evil), ("linear", evil + ".yaml", "--at", "0.1 s")):
            result = subprocess.run([PROGRAM, *arguments], cwd=self.folder, capture_output=True, check=False)
            text = (result.stdout + result.stderr).decode("utf-8")
            for letter in "\x1b\x85\u202e\u2066":
                self.assertNotIn(letter, text, arguments)
        self.assertIn(escaped, self.expect(0, "check", evil + ".yaml").stdout)


if __name__ == "__main__":
    need_program()
    unittest.main()
