"""Renders texts with pyttsx3 on eSpeak NG in a process of its own. Not imported: run as a file.

Reads {"voice", "folder", "texts": [[text, words_per_minute], ...]} as JSON on standard input and
writes 0.wav, 1.wav, ... into the folder. Says on standard error what is wrong, and ends with 2
if that is the name of the voice.

Each text is rendered by a fork: eSpeak NG carries its state from one text to the next, and
pyttsx3 honours a rate only once per process, so nothing else gives the same samples each time.
"""

from __future__ import annotations

import ctypes
import json
import os
import sys
from pathlib import Path
from typing import Any


def _pyttsx3() -> Any:
    import espeakng_loader

    # Both before pyttsx3 is imported: it opens the library by name and finds the preloaded one,
    # and the library ends the process if it does not find its data.
    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
    import pyttsx3
    import pyttsx3.drivers.espeak

    return pyttsx3


def _voice_id(engine: Any, name: str) -> str:
    """The identifier that eSpeak NG takes, from a language code or an identifier, and a variant."""
    wanted, plus, variant = name.partition("+")
    voices = engine.getProperty("voices")
    by_language = {language: voice.id for voice in voices for language in voice.languages or ()}
    by_id = {voice.id: voice.id for voice in voices}
    found = by_language.get(wanted.lower()) or by_id.get(wanted.lower())
    if found is None:
        raise LookupError(
            f"there is no voice {wanted!r}; there are: {' '.join(sorted(by_language))}"
        )
    variants = sorted(
        p.name for p in Path(os.environ["ESPEAK_DATA_PATH"], "voices", "!v").iterdir()
    )
    if plus and variant not in variants:
        raise LookupError(f"there is no variant {variant!r}; there are: {' '.join(variants)}")
    return f"{found}{plus}{variant}"


def _check(pyttsx3: Any, name: str) -> str:
    """Look the voice up in a fork, so that this process stays fresh."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            found = {"id": _voice_id(pyttsx3.init("espeak"), name)}
        except LookupError as error:
            found = {"error": str(error)}
        os.write(write, json.dumps(found).encode())
        os._exit(0)
    os.close(write)
    with os.fdopen(read) as answer:
        found = json.loads(answer.read() or '{"error": "eSpeak NG does not start"}')
    os.waitpid(child, 0)
    if "error" in found:
        print(found["error"], file=sys.stderr)
        raise SystemExit(2)
    return str(found["id"])


def _render(pyttsx3: Any, voice: str, words_per_minute: int, text: str, target: Path) -> None:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            engine = pyttsx3.init("espeak")
            # its random numbers, of which it makes breath, start from the time of day
            ctypes.CDLL(None).espeak_ng_SetRandSeed(1)
            espeak = pyttsx3.drivers._espeak
            # Another thread takes rates in its own time: wait for pyttsx3's own first one, and for
            # ours before the text, or now and then the first of them is the one that is spoken.
            espeak.Synchronize()
            espeak.SetVoiceByName(voice.encode())
            espeak.SetParameter(espeak.RATE, words_per_minute, 0)
            espeak.Synchronize()
            engine.save_to_file(text, str(target))
            engine.runAndWait()
            espeak.Synchronize()  # runAndWait returns after 10 ms, done or not
            code = 0
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    if status:
        raise SystemExit(f"eSpeak NG ended while it rendered {text!r}")


def _main() -> None:
    job = json.load(sys.stdin)
    pyttsx3 = _pyttsx3()
    voice = _check(pyttsx3, job["voice"])
    for number, (text, words_per_minute) in enumerate(job["texts"]):
        target = Path(job["folder"], f"{number}.wav")
        _render(pyttsx3, voice, words_per_minute, text, target)


if __name__ == "__main__":
    _main()
