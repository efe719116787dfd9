import { type DriverName, setUpOf } from '../boards/registry.ts';
import { NAME } from '../prop/name.ts';
import { PARTS, partsFor } from '../prop/parts.ts';
import {
  BOUNDS,
  COMPUTERS,
  LOAD_WORDS,
  LOADS,
  type LoadWord,
  USUAL,
  USUAL_LIGHTS,
  WIRED,
} from './answers.ts';
import { WIRED_WORDS } from './choices.ts';

/**
 * The questions about a new prop, one after the other: which one is next follows from the answers so far.
 * Pure, so that a terminal, a script and a page ask the same.
 */

export interface Question {
  /** `moves.0.part`. */
  id: string;
  ask: string;
  /** Why it is asked, or what it is good for, in a few words. */
  why: string;
  /** The answer of one who gives none. */
  usual: string;
  options?: readonly { value: string; about: string }[];
}

export interface Asked {
  /** Undefined once everything is answered. */
  question: Question | undefined;
  /** The answers so far, as plain data for `readAnswers`. */
  answers: Record<string, unknown>;
  /** What is wrong with an answer, at its question. */
  wrong: { id: string; wrong: string } | undefined;
}

/** What ends a list. */
const NO_MORE = 'none';

/** Stops the walk at the first question without an answer. */
class Unanswered extends Error {
  readonly question: Question;
  readonly wrong: string | undefined;

  constructor(question: Question, wrong?: string) {
    super(question.id);
    this.question = question;
    this.wrong = wrong;
  }
}

/** @param given what was answered, by the id of its question; an empty answer is the usual one */
export function interview(given: ReadonlyMap<string, string>): Asked {
  const answers: Record<string, unknown> = {};
  try {
    new Walk(given).all(answers);
    return { question: undefined, answers, wrong: undefined };
  } catch (error) {
    if (!(error instanceof Unanswered)) throw error;
    const { question, wrong } = error;
    return {
      question,
      answers,
      wrong: wrong === undefined ? undefined : { id: question.id, wrong },
    };
  }
}

class Walk {
  readonly #given: ReadonlyMap<string, string>;

  constructor(given: ReadonlyMap<string, string>) {
    this.#given = given;
  }

  all(answers: Record<string, unknown>): void {
    answers.name = this.#text(
      'name',
      'What is the prop called?',
      'its name in lists and on the page',
      USUAL.name,
    );
    answers.computer = this.#choice(
      'computer',
      'Which computer drives it?',
      'it decides which pins make pulses; sim is right until you have one',
      COMPUTERS.map((value) => ({ value, about: setUpOf(value as DriverName).about })),
      USUAL.computer,
    );
    const lists = { moves: [], lights: [], relays: [], sounds: [], supplies: [] } as Record<
      string,
      object[]
    >;
    Object.assign(answers, lists);
    let lengthM = String(USUAL.lengthM);
    const length = (id: string) => {
      const value = this.#number(
        id,
        'How long is the cable from the board to it (m)?',
        'thin wire loses voltage over its length',
        BOUNDS.lengthM,
        lengthM,
      );
      lengthM = String(value);
      return value;
    };
    this.#moves(lists.moves!, length);
    this.#lights(lists.lights!, length);
    this.#relays(lists.relays!, length);
    this.#sounds(lists.sounds!);
    this.#supplies(lists.supplies!);
    answers.stopButton =
      this.#choice(
        'stopButton',
        'Is there a stop button on a pin?',
        'an addition to a switch that cuts the power, never a substitute',
        [
          { value: 'yes', about: 'a contact that rests closed' },
          { value: 'no', about: 'only the switch that cuts the power' },
        ],
        'yes',
      ) === 'yes';
    answers.wiring =
      this.#choice(
        'wiring',
        'Propose wires, plugs and terminal blocks, too?',
        'with labels, colours and sizes; sinew wire does it later just as well',
        [
          { value: 'yes', about: 'by the lengths that you gave' },
          { value: 'no', about: 'only boards, pins, rails and channels' },
        ],
        'yes',
      ) === 'yes';
  }

  #moves(moves: object[], length: (id: string) => number): void {
    let part: string = USUAL.servo;
    for (let i = 0; ; i++) {
      const at = (key: string) => `moves.${i}.${key}`;
      const name = this.#name(
        at('name'),
        i === 0 ? 'What moves? Give it a name.' : 'What else moves?',
        i === 0
          ? 'such as claw or lid; two that are alike are asked about once'
          : 'Enter: nothing else',
        i === 0 ? 'flap' : NO_MORE,
      );
      if (name === undefined) return;
      const count = this.#count(at('count'), `How many of ${name}?`, BOUNDS.servos);
      part = this.#part(
        at('part'),
        `Which servo moves ${name}?`,
        'current, torque and speed are typical of its class',
        'servo',
        part,
      );
      const travelDeg = this.#number(
        at('travelDeg'),
        'How far does it move, end to end (deg)?',
        'its first limits; you measure the real ones later',
        BOUNDS.travelDeg,
        String(USUAL.travelDeg),
      );
      const rests = this.#choice(
        at('rests'),
        'Where does it rest?',
        'its park position',
        [
          { value: 'end', about: 'at one end, such as a lid that is shut' },
          { value: 'middle', about: 'in the middle, such as a head' },
        ],
        USUAL.rests,
      );
      moves.push({ name, count, part, travelDeg, rests, lengthM: length(at('lengthM')) });
    }
  }

  #lights(lights: object[], length: (id: string) => number): void {
    for (let i = 0; ; i++) {
      const at = (key: string) => `lights.${i}.${key}`;
      const name = this.#name(
        at('name'),
        i === 0 ? 'What lights up?' : 'What else lights up?',
        'such as eye or lantern; Enter: nothing',
        NO_MORE,
      );
      if (name === undefined) return;
      const count = this.#count(at('count'), `How many of ${name}?`, BOUNDS.lights);
      const kind = this.#choice(
        at('kind'),
        'Coloured or not?',
        'three colours take three pins',
        [
          { value: 'rgb', about: 'red, green and blue' },
          { value: 'lamp', about: 'one colour, dimmed' },
        ],
        'rgb',
      );
      const part = this.#part(
        at('part'),
        `Which light is ${name}?`,
        'its current is typical of its class',
        kind,
        USUAL_LIGHTS[kind as keyof typeof USUAL_LIGHTS],
      );
      const wired = this.#choice(
        at('wired'),
        'What is between pin and light?',
        'a pin gives a few mA only',
        WIRED.map((value) => ({ value, about: WIRED_WORDS[value] })),
        USUAL.wired,
      );
      lights.push({ name, count, kind, part, wired, lengthM: length(at('lengthM')) });
    }
  }

  #relays(relays: object[], length: (id: string) => number): void {
    for (let i = 0; ; i++) {
      const at = (key: string) => `relays.${i}.${key}`;
      const name = this.#name(
        at('name'),
        i === 0 ? 'What does a relay switch?' : 'What else does a relay switch?',
        'such as mist or fan, never mains; Enter: nothing',
        NO_MORE,
      );
      if (name === undefined) return;
      const count = this.#count(at('count'), `How many of ${name}?`, BOUNDS.relays);
      const load = this.#choice(
        at('load'),
        `What is ${name}?`,
        'its current and its duty limit',
        LOAD_WORDS.map((value) => ({ value, about: LOADS[value].about })),
        'vapour',
      ) as LoadWord;
      const relay: Record<string, unknown> = { name, count, load };
      if (LOADS[load].part === undefined) {
        relay.volts = this.#number(
          at('volts'),
          'What voltage does it need (V)?',
          'its supply',
          BOUNDS.volts,
          '12',
        );
        relay.amps = this.#number(
          at('amps'),
          'What does it draw while it is on (A)?',
          'its fuse and wires',
          BOUNDS.loadA,
          '0.2',
        );
      }
      if (load === 'vapour')
        relay.tankMl = this.#number(
          at('tankMl'),
          'How much water may it use (ml)?',
          'a disc that runs dry breaks',
          BOUNDS.tankMl,
          '100',
        );
      relay.closesOn = this.#choice(
        at('closesOn'),
        'Which level closes the relay?',
        'most modules close on a low one',
        [
          { value: 'low', about: 'the module closes while its input is low' },
          { value: 'high', about: 'the module closes while its input is high' },
        ],
        USUAL.closesOn,
      );
      relay.lengthM = length(at('lengthM'));
      relays.push(relay);
    }
  }

  #sounds(sounds: object[]): void {
    const name = this.#name(
      'sounds.0.name',
      'Is there a loudspeaker? Give it a name.',
      'such as voice, on the sound card of the computer; Enter: none',
      NO_MORE,
    );
    if (name !== undefined) sounds.push({ name });
  }

  #supplies(supplies: object[]): void {
    for (let i = 0; ; i++) {
      const at = (key: string) => `supplies.${i}.${key}`;
      const volts = this.#number(
        at('volts'),
        i === 0 ? 'Which supply do you have (V)?' : 'Which other supply do you have (V)?',
        `Enter: no ${i === 0 ? '' : 'other '}supply; what is missing is proposed`,
        BOUNDS.volts,
        NO_MORE,
      );
      if (volts === undefined) return;
      const amps = this.#number(
        at('amps'),
        'How much current can it give all the time (A)?',
        'what it feeds must never ask for more',
        BOUNDS.supplyA,
        '5',
      );
      const source = this.#choice(
        at('source'),
        'From the mains, or a battery?',
        'a battery needs its fuse at the terminal',
        [
          { value: 'mains', about: 'a closed supply with approval marks' },
          { value: 'battery', about: 'a pack' },
        ],
        USUAL.source,
      );
      const supply: Record<string, unknown> = { volts, amps, source };
      if (source === 'battery')
        supply.capacityAh = this.#number(
          at('capacityAh'),
          'What is its capacity (Ah)?',
          'how long it lasts',
          BOUNDS.capacityAh,
          '5',
        );
      supplies.push(supply);
    }
  }

  // --- one question ---------------------------------------------------------------------------------

  #answer(question: Question): string {
    const given = this.#given.get(question.id)?.trim();
    if (given === undefined) throw new Unanswered(question);
    return given === '' ? question.usual : given;
  }

  #text(id: string, ask: string, why: string, usual: string): string {
    const question = { id, ask, why, usual };
    const given = this.#answer(question);
    if (given.length > 100) throw new Unanswered(question, 'it is longer than 100 characters');
    return given;
  }

  /** A name, or undefined for no more. */
  #name(id: string, ask: string, why: string, usual: string): string | undefined {
    const question = { id, ask, why, usual };
    const given = this.#answer(question);
    if (given === NO_MORE || given === '-') return undefined;
    const name = given.replaceAll(' ', '_');
    if (!NAME.test(name) || name.length > BOUNDS.name)
      throw new Unanswered(
        question,
        `${given} is not a name; use a letter, then letters, digits, _ or - (${BOUNDS.name} at most)`,
      );
    return name;
  }

  #number(
    id: string,
    ask: string,
    why: string,
    bounds: readonly [number, number],
    usual: string,
  ): number;
  #number(
    id: string,
    ask: string,
    why: string,
    [low, high]: readonly [number, number],
    usual: string,
  ): number | undefined {
    const question = { id, ask, why, usual };
    const given = this.#answer(question);
    if (usual === NO_MORE && (given === NO_MORE || given === '-')) return undefined;
    const value = Number(given.replace(',', '.').replace(/\s*[A-Za-z]+$/, ''));
    if (!(value >= low && value <= high))
      throw new Unanswered(question, `${given} is not a number within ${low} to ${high}`);
    return value;
  }

  #count(id: string, ask: string, most: number): number {
    const question = { id, ask, why: 'each gets a channel of its own', usual: '1' };
    const given = this.#answer(question);
    const value = Number(given);
    if (!Number.isInteger(value) || value < 1 || value > most)
      throw new Unanswered(question, `${given} is not a whole number within 1 to ${most}`);
    return value;
  }

  /** One of a few words; its first letters are enough. */
  #choice(
    id: string,
    ask: string,
    why: string,
    options: readonly { value: string; about: string }[],
    usual: string,
  ): string {
    const question = { id, ask, why, usual, options };
    const given = this.#answer(question).toLowerCase();
    const exact = options.find(({ value }) => value === given);
    if (exact) return exact.value;
    const at = /^\d+$/.test(given) ? options[Number(given) - 1] : undefined;
    const begun = options.filter(({ value }) => value.startsWith(given));
    const meant = at ?? (begun.length === 1 ? begun[0] : undefined);
    if (meant) return meant.value;
    throw new Unanswered(
      question,
      `${given} is not one of ${options.map(({ value }) => value).join(', ')}`,
    );
  }

  #part(id: string, ask: string, why: string, kind: string, usual: string): string {
    const options = partsFor(kind).map((value) => ({ value, about: PARTS[value]!.about }));
    return this.#choice(id, ask, why, options, usual);
  }
}
