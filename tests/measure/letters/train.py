"""Trains the small network that spells what the speech model's encoder heard (`src/hear/decode/letters.rs`), on a machine with a GPU.

Everything it learns from is made here: phrases of the shipped procedures, numbers as they are said, and words of a word list, spoken by
espeak-ng and flite in the development voices (tests/measure/voices.rs) with other pitches and speeds, and by two voices of festival; a part
of espeak-ng's in accents drawn at random, which nobody has: each changes some vowels and consonants for neighbours. In white, brown and
humming noise, in small rooms. No test voice, test accent or test noise is used.

    python3 train.py make GIVEN EXAMPLES SECONDS TEXTS SCENES PROCESSES
    python3 train.py train EXAMPLES OUT SECONDS [WIDTH BLOCKS]

GIVEN is a folder with bin/ (espeak-ng, flite, festival), lib/ (their libraries), espeak-ng-data/, festival/ (its own files with the voices
ked_diphone and cmu_us_slt_arctic_hts), encoder_model.ort, words.txt and the procedures. TEXTS are spoken once each and put in SCENES
scenes each, until the time is over. OUT gets one archive of weights for each of three trainings: `all`, and `first` and `second`, each of
which leaves out the other's voices, so that what is fitted on the development voices can be fitted on voices that the network has not met.
With two cards `all` has one and the others share the other.
"""

import io
import multiprocessing
import os
import re
import subprocess
import sys
import time
import wave
from pathlib import Path

import numpy as np

RATE = 16000
LETTERS = " 'abcdefghijklmnopqrstuvwxyz"
PAD = RATE // 5
NOTHING = 0.03  # of the examples, without a voice
VARIANTS = ["", "+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+f1", "+f2", "+f4", "+klatt", "+klatt3", "+Andy", "+croak", "+Annie", "+Gene", "+Lee", "+anikaRobot"]
FIRST = {"espeak": ["en-us", "en-gb"], "flite": ["kal16"], "festival": ["ked_diphone"]}
SECOND = {"espeak": ["en-gb-scotland", "en-gb-x-gbcwmd"], "flite": ["slt"], "festival": ["cmu_us_slt_arctic_hts"]}
WEIGHT = {"espeak": 3, "flite": 3, "festival": 2}
ACCENTED = 0.5  # of what espeak-ng says
# Sounds by espeak-ng's names and what an accent may make of them; the longest name that fits is meant.
NEIGHBOURS = {
    "aI": ["OI", "aI", "eI", "A:"], "eI": ["aI", "E", "e@"], "oU": ["O:", "aU", "0", "u:"], "aU": ["oU", "a", "A:"], "OI": ["aI", "oU"],
    "i:": ["I", "eI"], "I": ["i:", "E", "@"], "E": ["I", "a", "eI"], "a": ["E", "A:", "V"], "A:": ["a", "O:"], "A@": ["a", "A:", "O:", "a r"],
    "V": ["U", "a", "0"], "0": ["A:", "O:", "V"], "O:": ["0", "oU", "A:"], "O@": ["O:", "oU", "O: r", "0"], "o@": ["O:", "oU", "O: r", "U"],
    "3:": ["E", "V", "3: r", "O:"], "u:": ["U", "i:", "oU"], "U": ["u:", "V"], "e@": ["E", "E r", "3:"], "i@": ["i:", "i: r"], "@": ["V", "E", "I"],
    "3": ["V", "E r", "a"], "T": ["t", "f", "s"], "D": ["d", "z", "v"], "w": ["v", "w"], "v": ["w", "f", "b"], "z": ["s"], "h": ["", "h"], "r": ["l", "w"],
    "N": ["N g", "n"], "S": ["s", "tS"], "tS": ["S", "t s"], "dZ": ["Z", "j", "tS"], "t#": ["t", "d", ""], "l": ["U", "r", "l"], "j": ["", "dZ"],
    "p": ["b"], "t": ["d", "t"], "k": ["g"], "b": ["p"], "d": ["t"], "g": ["k"], "m": ["m"], "n": ["n"], "f": ["f"], "s": ["s"], "Z": ["S"],
}
CHANGED = 0.13  # chance that an accent changes a sound


# ------------------------------------------------------------------------------------------------------------- texts


def plain(text):
    text = re.sub(r"\{[{%].*?[}%]\}", " ", text).lower()
    return " ".join(re.sub(r"[^a-z' ]", " ", text).split())


def quoted(given):
    """Phrases (short, no stop) and pieces of sentences in the procedures."""
    phrases, pieces = set(), []
    for path in sorted(Path(given, "procedures").rglob("*.yaml")):
        for text in re.findall(r'"([^"\n]+)"', path.read_text()):
            if re.search(r"[{}<>=|/_0-9]", text):
                continue
            words = plain(text).split()
            if len(words) <= 6 and not re.search(r"[.:;]", text):
                phrases.add(" ".join(words))
            elif len(words) > 3:
                pieces.append(words)
    return sorted(p for p in phrases if p), pieces


ONES = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "x x twenty thirty forty fifty sixty seventy eighty ninety".split()
UNITS = "volt volts ohm ohms amp amps millivolts kilohms kilohm microfarads degrees thou millimetres revs percent celsius minutes seconds megohms".split()


def below_hundred(n):
    return ONES[n] if n < 20 else TENS[n // 10] + (" " + ONES[n % 10] if n % 10 else "")


def digit(random, n):
    return "oh" if n == 0 and random.random() < 0.6 else ("nought" if n == 0 and random.random() < 0.3 else ONES[n])


def whole(random, n):
    if n < 100:
        return below_hundred(n)
    if n < 1000:
        rest = n % 100
        if random.random() < 0.3 and rest >= 10:
            return ONES[n // 100] + " " + below_hundred(rest)
        head = ("a" if n < 200 and random.random() < 0.3 else ONES[n // 100]) + " hundred"
        return head + ((" and " if random.random() < 0.6 else " ") + below_hundred(rest) if rest else "")
    head, rest = divmod(n, 1000)
    if random.random() < 0.25 and 10 <= n // 100 < 100:
        rest = n % 100
        return below_hundred(n // 100) + " " + ("hundred" if rest == 0 else ("oh " + ONES[rest] if rest < 10 else below_hundred(rest)))
    return whole(random, head) + " thousand" + ((" and " if 0 < rest < 100 and random.random() < 0.6 else " ") + whole(random, rest) if rest else "")


def number(random):
    kind = random.random()
    if kind < 0.25:
        out = whole(random, int(random.integers(0, 100)))
    elif kind < 0.4:
        size = [1000, 20000][int(random.integers(0, 2))]
        out = whole(random, int(random.integers(0, size)) // [1, 10, 50, 100][int(random.integers(0, 4))] * [1, 10, 50, 100][int(random.integers(0, 4))] % size)
    elif kind < 0.9:
        head = int(random.integers(0, 20)) if random.random() < 0.7 else int(random.integers(0, 100))
        after = [digit(random, int(random.integers(0, 10))) for _ in range(1 if random.random() < 0.6 else 2)]
        if len(after) == 2 and random.random() < 0.15:
            after = [below_hundred(int(random.integers(10, 100)))]
        lead = "" if head == 0 and random.random() < 0.6 else (digit(random, 0) if head == 0 else below_hundred(head)) + " "
        out = lead + "point " + " ".join(after)
    elif kind < 0.95:
        out = " ".join(digit(random, int(random.integers(0, 10))) for _ in range(int(random.integers(2, 5))))
    else:
        out = ["a half", "half", "three quarters", "a quarter", "one and a half", "two and a half", "o l", "over range", "no reading", "no number", "open line"][int(random.integers(0, 11))]
    if random.random() < 0.05:
        out = "minus " + out
    if random.random() < 0.06:
        out = ["about", "roughly", "it reads", "i get", "it's", "er"][int(random.integers(0, 6))] + " " + out
    if random.random() < 0.35:
        out += " " + UNITS[int(random.integers(0, len(UNITS)))]
    return out


def texts(given, count, random):
    phrases, pieces = quoted(given)
    words = [w for w in Path(given, "words.txt").read_text().split() if re.fullmatch('[a-z]+', w) and 2 <= len(w) <= 10]
    print(len(phrases), "phrases", len(pieces), "sentences", len(words), "words", flush=True)
    out = []
    while len(out) < count:
        kind = random.random()
        if kind < 0.30:
            out.append(phrases[int(random.integers(0, len(phrases)))])
        elif kind < 0.55:
            out.append(number(random))
        elif kind < 0.75:
            piece = pieces[int(random.integers(0, len(pieces)))]
            at, size = int(random.integers(0, len(piece) - 2)), int(random.integers(1, 6))
            out.append(" ".join(piece[at : at + size]))
        else:
            out.append(" ".join(words[int(random.integers(0, len(words)))] for _ in range(int(random.integers(1, 4)))))
    return out


# ------------------------------------------------------------------------------------------------------------- sound


def read_wav(data):
    at = data.find(b"data")
    rate = int.from_bytes(data[24:28], "little")
    return np.frombuffer(data[at + 8 : at + 8 + (len(data) - at - 8) // 2 * 2], "<i2").astype(np.float32) / 32768, rate


def stretched(sound, ratio):
    """Played `ratio` times as fast, by linear interpolation after a low pass where it would alias."""
    if ratio > 1.02:
        width = int(np.ceil(8 * ratio))
        taps = np.sinc(np.arange(-width, width + 1) / ratio) * np.hanning(2 * width + 3)[1:-1]
        sound = np.convolve(sound, (taps / taps.sum()).astype(np.float32), "same")
    at = np.arange(int(len(sound) / ratio)) * ratio
    return np.interp(at, np.arange(len(sound)), sound).astype(np.float32)


def accented(sounds, random):
    """Sounds by espeak-ng's names in an accent drawn at random: the same sound changes in the same way wherever it stands."""
    change = {}
    for name, others in NEIGHBOURS.items():
        if random.random() < CHANGED:
            change[name] = others[int(random.integers(0, len(others)))].replace(" ", "")
    names = sorted(NEIGHBOURS, key=len, reverse=True)
    out, at = "", 0
    while at < len(sounds):
        name = next((n for n in names if sounds.startswith(n, at)), sounds[at])
        out += change.get(name, name)
        at += len(name)
    if random.random() < 0.2:
        out = out.replace("'", "") if random.random() < 0.5 else re.sub("[',]", "", out, count=1)
    return out


class Festival:
    """A festival that is kept running, since it takes long to start."""

    def __init__(self, given, voice):
        env = dict(os.environ, LD_LIBRARY_PATH=f"{given}/lib")
        command = [f"{given}/bin/festival", "--libdir", f"{given}/festival", "--pipe"]
        self.child = subprocess.Popen(command, env=env, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        self.tell(f"(voice_{voice})")

    def tell(self, line):
        self.child.stdin.write(line + '\n(format stderr "ready\\n")\n')  # what it prints elsewhere is held back
        self.child.stdin.flush()
        while "ready" not in (answer := self.child.stderr.readline()):
            if not answer:
                raise OSError("festival ended")

    def say(self, text, stretch, file):
        self.tell(f"(Parameter.set 'Duration_Stretch {stretch:.2f})")
        self.tell(f"(utt.save.wave (utt.synth (Utterance Text \"{text}\")) \"{file}\" 'riff)")


running = {}


def speak(given, who, text, random, scratch):
    env = dict(os.environ, LD_LIBRARY_PATH=f"{given}/lib", ESPEAK_DATA_PATH=str(given))
    if who[0] == "espeak":
        name = who[1] + VARIANTS[int(random.integers(0, len(VARIANTS)))]
        if random.random() < ACCENTED:
            sounds = subprocess.run([f"{given}/bin/espeak-ng", "-v", who[1], "-q", "-x", text], env=env, capture_output=True, check=True, text=True)
            text = "[[" + accented(" ".join(sounds.stdout.split()), random) + "]]"
        command = [f"{given}/bin/espeak-ng", "-v", name, "-s", str(int(random.integers(125, 190))), "-p", str(int(random.integers(25, 76))), "--stdout", text]
        sound, rate = read_wav(subprocess.run(command, env=env, capture_output=True, check=True).stdout)
        pitch = random.uniform(0.9, 1.12)
    elif who[0] == "festival":
        if who[1] not in running:
            running[who[1]] = Festival(given, who[1])
        running[who[1]].say(text, random.uniform(0.8, 1.2), scratch)
        sound, rate = read_wav(Path(scratch).read_bytes())
        os.remove(scratch)
        pitch = random.uniform(0.82, 1.16)
    else:
        command = [f"{given}/bin/flite", "-voice", who[1], "--setf", f"duration_stretch={random.uniform(0.85, 1.2):.2f}", "-t", text, "-o", scratch]
        subprocess.run(command, env=env, capture_output=True)
        sound, rate = read_wav(Path(scratch).read_bytes())
        os.remove(scratch)
        pitch = random.uniform(0.82, 1.16)
    return stretched(sound, rate / RATE * pitch)


def noise(kind, count, random):
    white = random.standard_normal(count).astype(np.float32)
    if kind == "white":
        out = white
    elif kind == "brown":
        out = np.cumsum(white).astype(np.float32)
        out -= np.convolve(out, np.ones(401, np.float32) / 401, "same") if count > 401 else out.mean()
        out = out / (out.std() + 1e-9) + random.uniform(0, 0.5) * white
    elif kind == "hum":
        t = np.arange(count) / RATE
        base = random.uniform(45, 62)
        out = sum(np.sin(2 * np.pi * base * k * t + random.uniform(0, 6)) / k for k in range(1, 8)).astype(np.float32) + random.uniform(0.1, 0.4) * white
    else:  # a band of white noise that swells
        low, high = sorted(random.uniform(100, 6000, 2))
        spectrum = np.fft.rfft(white)
        hz = np.fft.rfftfreq(count, 1 / RATE)
        spectrum[(hz < low) | (hz > high + 300)] *= 0.1
        out = np.fft.irfft(spectrum, count).astype(np.float32)
    return out / (out.std() + 1e-9)


def in_a_scene(voice, random):
    voice = stretched(voice, random.uniform(0.86, 1.1))
    if random.random() < 0.35:
        length = int(RATE * random.uniform(0.05, 0.5))
        room = random.standard_normal(length).astype(np.float32) * np.exp(-6.9 * np.arange(length) / length).astype(np.float32)
        room *= random.uniform(0.02, 0.25)
        room[0] = 1
        voice = np.convolve(voice, room)[: len(voice) + length // 2].astype(np.float32)
    if random.random() < 0.5:  # another microphone
        tilt = random.uniform(-0.6, 0.8)
        voice = np.append(voice[0], voice[1:] - tilt * voice[:-1]).astype(np.float32)
    active = np.sqrt(np.mean(voice[np.abs(voice) > np.abs(voice).max() * 0.05] ** 2) + 1e-12)
    before, after = (int(random.integers(1600, 5600)) for _ in range(2))
    out = np.concatenate([np.zeros(before, np.float32), voice / active, np.zeros(after, np.float32)])
    snr = 50.0 if random.random() < 0.2 else random.uniform(0, 30)
    kind = ["white", "brown", "hum", "band"][int(random.integers(0, 4))]
    out += noise(kind, len(out), random) * 10 ** (-snr / 20)
    out *= 10 ** (random.uniform(-42, -16) / 20)
    return np.round(np.clip(out, -1, 1) * 32767) / 32768


def nobody(random):
    """Noise without a voice: nothing is spelled."""
    out = noise(["white", "brown", "hum", "band"][int(random.integers(0, 4))], int(RATE * random.uniform(0.4, 2.0)), random)
    for _ in range(int(random.integers(0, 4))):  # swells
        at, wide = random.uniform(0, len(out)), RATE * random.uniform(0.02, 0.4)
        out *= 1 + random.uniform(1, 8) * np.exp(-(((np.arange(len(out)) - at) / wide) ** 2)).astype(np.float32)
    out *= 10 ** (random.uniform(-42, -16) / 20) / (out.std() + 1e-9)
    return np.round(np.clip(out, -1, 1) * 32767) / 32768


def levelled(sound):
    """As `level::levelled`."""
    sound = sound.astype(np.float32)
    frames = np.array([np.mean(sound[i : i + 320] ** 2) for i in range(0, len(sound), 320)])
    active = np.sqrt(frames[frames > frames.max() * 0.01].mean()) if frames.max() > 0 else 0
    gain = min(0.05 / active, 31.6) if active > 0 else 1
    return np.concatenate([np.zeros(PAD), np.clip(sound * gain, -1, 1), np.zeros(PAD)]).astype(np.float32)


def work(job):
    """Speaks some texts and encodes each in several scenes."""
    given, into, seed, lines, scenes, deadline = job
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    encoder = onnxruntime.InferenceSession(f"{given}/encoder_model.ort", options, providers=["CPUExecutionProvider"])
    random = np.random.default_rng(seed)
    whos = [(program, name) for group in (FIRST, SECOND) for program, names in group.items() for name in names]
    weights = np.array([WEIGHT[w[0]] for w in whos], float)
    frames, said, groups = [], [], []
    for text in lines:
        if time.time() > deadline:
            break
        at = int(random.choice(len(whos), p=weights / weights.sum()))
        try:
            voice = speak(given, whos[at], text, random, f"/tmp/say-{seed}.wav")
        except (subprocess.CalledProcessError, OSError, ValueError) as error:
            print("not said:", whos[at], text, error, flush=True)
            running.pop(whos[at][1], None)
            continue
        if not 1600 < len(voice) < RATE * 5:
            continue
        group = int(whos[at][1] in sum(SECOND.values(), []))
        for _ in range(scenes):
            spoken = random.random() >= NOTHING
            heard = in_a_scene(voice, random) if spoken else nobody(random)
            sound = levelled(heard)
            feed = {"input_values": sound[None], "attention_mask": np.ones((1, len(sound)), np.int64)}
            frames.append(encoder.run(None, feed)[0][0].astype(np.float16))
            said.append(text if spoken else "")
            groups.append(group)
    lengths = np.array([len(f) for f in frames])
    np.save(f"{into}/{seed}.frames.npy", np.concatenate(frames))
    np.savez(f"{into}/{seed}.npz", lengths=lengths, groups=np.array(groups), said=np.array(said))
    return len(frames)


# ---------------------------------------------------------------------------------------------------------- training


def network(width, blocks):
    import torch
    from torch import nn

    class Block(nn.Module):
        def __init__(self, width, wide, reach, drop):
            super().__init__()
            self.norm = nn.LayerNorm(width)
            self.conv = nn.Conv1d(width, width, reach, padding=reach // 2, groups=width)
            self.up = nn.Linear(width, wide)
            self.down = nn.Linear(wide, width)
            self.drop = nn.Dropout(drop)

        def forward(self, x, mask):
            y = self.norm(x) * mask
            y = self.conv(y.transpose(1, 2)).transpose(1, 2)
            return x + self.drop(self.down(self.drop(torch.relu(self.up(y)))))

    class Speller(nn.Module):
        def __init__(self, reach=9, drop=0.12):
            super().__init__()
            wide = width * 5 // 2
            self.first = nn.LayerNorm(288)
            self.into = nn.Linear(288, width)
            self.drop = nn.Dropout(drop)
            self.blocks = nn.ModuleList(Block(width, wide, reach, drop) for _ in range(blocks))
            self.last = nn.LayerNorm(width)
            self.out = nn.Linear(width, len(LETTERS) + 1)

        def forward(self, x, mask):
            x = self.into(self.drop(self.first(x)))
            for block in self.blocks:
                x = block(x, mask)
            return torch.log_softmax(self.out(self.last(x)).float(), -1)

    return Speller()


def train(name, data, kept, out, seconds, size):
    """`kept`: which examples are learnt from; the others are what it is tried on."""
    import torch

    torch.manual_seed(7)
    torch.set_float32_matmul_precision("high")
    frames, starts, lengths, labels, label_lengths = data
    model = network(*size).cuda()
    print(name, sum(p.numel() for p in model.parameters()), "numbers", int(kept.sum()), "examples", flush=True)
    index = torch.nonzero(kept).flatten()
    others = torch.nonzero(~kept).flatten()[:4000]
    begun, batch, peak = time.time(), 512, 2e-3
    optimiser = torch.optim.AdamW(model.parameters(), lr=peak, weight_decay=0.02)
    loss_of = torch.nn.CTCLoss(zero_infinity=True)
    step, shown = 0, 0.0

    def run(some, learn):
        n = lengths[some]
        longest = int(n.max())
        place = torch.arange(longest, device=n.device)[None]
        mask = place < n[:, None]
        if learn:  # a stretch of frames is hidden now and then
            at = torch.randint(0, longest, (len(some), 1), device=n.device)
            wide = torch.randint(0, 7, (len(some), 1), device=n.device)
            shown = mask & ~((place >= at) & (place < at + wide))
        else:
            shown = mask
        x = frames[(starts[some][:, None] + place).clamp(max=len(frames) - 1)].float() * shown[..., None]
        scores = model(x, mask[..., None].float())
        return loss_of(scores.transpose(0, 1), labels[some][:, : int(label_lengths[some].max())], n, label_lengths[some]), scores, n

    while True:
        done = (time.time() - begun) / seconds
        if done >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = peak * min(1, step / 300) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        some = index[torch.randint(0, len(index), (batch,), device=index.device)]
        model.train()
        loss, _, _ = run(some, True)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
        if time.time() - shown > 20:
            shown = time.time()
            print(name, f"{done:.2f}", "step", step, "loss", f"{loss.item():.3f}", flush=True)
    model.eval()
    with torch.no_grad():
        for what, some in [("learnt", index[:2000]), ("not met", others)]:
            if len(some) == 0:
                continue
            losses, right = [], 0
            for part in some.split(500):
                loss, scores, n = run(part, False)
                losses.append(loss.item())
                for i, best in enumerate(scores.argmax(-1).cpu().numpy()):
                    best = best[: int(n[i])]
                    said = best[np.append(True, best[1:] != best[:-1])]
                    truth = labels[part[i]][: int(label_lengths[part[i]])].cpu().numpy()
                    right += list(said[said > 0]) == list(truth)
            print(name, what, f"loss {np.mean(losses):.3f}, spelled right {right / len(some):.3f} of {len(some)}", flush=True)
    np.savez(f"{out}/{name}.npz", **{k: v.cpu().numpy().astype(np.float16) for k, v in model.state_dict().items()})
    print(name, "steps", step, flush=True)


def make(given, into, seconds, count, scenes, size):
    begun = time.time()
    os.makedirs(into, exist_ok=True)
    lines = texts(given, count, np.random.default_rng(1))
    jobs = [(given, into, 100 + i, lines[i::size], scenes, begun + seconds) for i in range(size)]
    with multiprocessing.Pool(size) as pool:
        made = sum(pool.imap_unordered(work, jobs))
    print(made, "examples after", f"{time.time() - begun:.0f} s", flush=True)


def train_some(examples, out, seconds, size, card, shares):
    """The trainings of `shares`, one after the other, on one card."""
    import torch

    torch.cuda.set_device(card)
    begun = time.time()
    parts = [np.load(path) for path in sorted(Path(examples).glob("*.npz"))]
    frames = [torch.from_numpy(np.load(path)).cuda() for path in sorted(Path(examples).glob("*.frames.npy"))]
    frames = torch.cat(frames)
    lengths, groups, said = (np.concatenate([part[key] for part in parts]) for key in ("lengths", "groups", "said"))
    labels = torch.zeros(len(said), max(map(len, said)), dtype=torch.long)
    for i, text in enumerate(said):
        labels[i, : len(text)] = torch.tensor([LETTERS.index(c) + 1 for c in text], dtype=torch.long)
    label_lengths = torch.tensor([len(text) for text in said])
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
    data = [frames] + [x.cuda() for x in (torch.from_numpy(starts), torch.from_numpy(lengths), labels, label_lengths)]
    groups = torch.from_numpy(groups).cuda()
    print("on the card after", f"{time.time() - begun:.0f} s", tuple(frames.shape), len(said), "examples", flush=True)
    left = seconds - (time.time() - begun) - 10
    kept = {"all": groups >= 0, "first": groups == 0, "second": groups == 1}
    for name, share in shares:
        train(name, data, kept[name], out, left * share, size)


def train_all(examples, out, seconds, size):
    import torch

    os.makedirs(out, exist_ok=True)
    if torch.cuda.device_count() > 1:
        jobs = [(0, [("all", 1)]), (1, [("first", 0.5), ("second", 0.5)])]
    else:
        jobs = [(0, [("all", 0.4), ("first", 0.3), ("second", 0.3)])]
    start = multiprocessing.get_context("spawn")
    running = [start.Process(target=train_some, args=(examples, out, seconds, size, *job)) for job in jobs]
    for process in running:
        process.start()
    for process in running:
        process.join()
    if any(process.exitcode for process in running):
        sys.exit("a training failed; its own words are above")


if __name__ == "__main__":
    job, source, target, seconds, *numbers = sys.argv[1:]
    numbers = [int(x) for x in numbers]
    if job == "make":
        make(source, target, float(seconds), *numbers)
    else:
        train_all(source, target, float(seconds), numbers or [256, 5])
