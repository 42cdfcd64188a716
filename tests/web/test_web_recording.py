"""Sound recordings dropped on the driver's sheet: fitted like tables, limited in size, never run."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from starlette.testclient import TestClient
from web_support import workbench

from subwright.web.measuring import RECORDING_LIMIT_BYTES
from subwright.web.security import BODY_LIMIT_BYTES, LARGER_BODIES

RE, BL, MMS, CMS, RMS, LE = 3.4, 12.8, 0.094, 3.0e-4, 2.2, 0.2e-3  # our own, invented
OHM = 10.0


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        yield found


def impedance(f: np.ndarray, added_kg: float) -> np.ndarray:
    s = 2j * np.pi * np.maximum(f, 1e-3)
    return RE + s * LE + BL**2 / (RMS + s * (MMS + added_kg) + 1.0 / (s * CMS))


def recording(sweep: bytes, added_kg: float, over: str) -> bytes:
    """What a sound card would take down of the sweep, by the driver's equivalent circuit."""
    rate, played = wavfile.read(io.BytesIO(sweep))
    whole = np.concatenate((played[:, 0] / 2.0**15, np.zeros(rate)))  # it rings on after the sweep
    spectrum, f = np.fft.rfft(whole), np.fft.rfftfreq(whole.size, 1.0 / rate)
    z = impedance(f, added_kg)
    part = z / (z + OHM) if over == "driver" else OHM / (z + OHM)
    right = np.fft.irfft(spectrum * part, whole.size)
    stream = io.BytesIO()
    samples = np.round(np.stack((whole, right), axis=1) * 2.0**15 * 0.9).astype(np.int16)
    wavfile.write(stream, rate, samples)
    return stream.getvalue()


@pytest.mark.parametrize("over", ["driver", "resistor"])
def test_a_recording_gives_the_driver(client: TestClient, over: str) -> None:
    sweep = client.get("/sweep.wav").content
    sent = {}
    for name, added in (("free", 0.0), ("loaded", 0.05)):
        answer = client.post("/recording", content=recording(sweep, added, over))
        assert answer.status_code == 200, answer.text
        sent[name] = answer.json()["recording"]
    runs = sent | {"mass": "50 g", "piston": "208 mm", "resistor": "10 ohm", "right": over}
    answer = client.post("/measure", json=runs)
    assert answer.status_code == 200, answer.text
    fs = 1.0 / (2.0 * np.pi * np.sqrt(MMS * CMS))
    assert f"{fs:.1f} Hz" in answer.text
    assert any(f"{1e3 * m:.1f} g" in answer.text for m in np.arange(0.0930, 0.0951, 0.0001))


def test_a_recording_needs_its_resistor(client: TestClient) -> None:
    sent = client.post(
        "/recording", content=recording(client.get("/sweep.wav").content, 0.0, "driver")
    ).json()
    answer = client.post("/measure", json={"free": sent["recording"]})
    assert answer.status_code == 422
    assert "resistor" in answer.json()["error"]["remedy"]


def test_what_is_no_recording_is_refused(client: TestClient) -> None:
    for content in (b"", b"RIFF", b"#!/bin/sh\nrm -rf /\n", b"RIFF\x00\x00\x00\x00AVI LIST"):
        answer = client.post("/recording", content=content)
        assert answer.status_code == 422
        assert "WAV" in answer.text
    sent = client.post("/recording", content=b"RIFF\x24\x00\x00\x00WAVEjunk" + b"\x00" * 60).json()
    answer = client.post("/measure", json={"free": sent["recording"], "resistor": "10 ohm"})
    assert answer.status_code == 422
    assert client.post("/measure", json={"free": "recording:../../etc/passwd"}).status_code == 422


def test_only_the_recording_may_be_large(client: TestClient) -> None:
    assert LARGER_BODIES == {"/recording": 26_000_000}
    much = b"RIFF\x00\x00\x00\x00WAVE" + b"\x00" * BODY_LIMIT_BYTES
    assert client.post("/recording", content=much).status_code == 200
    assert client.post("/take-in?file=big.build.toml", content=much).status_code == 413
    beyond = b"RIFF\x00\x00\x00\x00WAVE" + b"\x00" * RECORDING_LIMIT_BYTES
    assert client.post("/recording", content=beyond).status_code == 422
    assert client.post("/recording", content=b"\x00" * 27_000_000).status_code == 413


def test_old_recordings_go(client: TestClient) -> None:
    first = client.post("/recording", content=b"RIFF\x24\x00\x00\x00WAVEone").json()["recording"]
    for _ in range(6):
        client.post("/recording", content=b"RIFF\x24\x00\x00\x00WAVEmore")
    answer = client.post("/measure", json={"free": first, "resistor": "10 ohm"})
    assert "not here any more" in answer.json()["error"]["message"]
