import { type Board, DRIVER_NAMES, type DriverName, factsOf, setUpOf } from '../boards/registry.ts';
import type { Answers } from './answers.ts';
import { PinBoard, USES, type Use } from './pins.ts';
import type { PinSlot } from './slots.ts';

/** Which boards the prop needs, and which of their pins each channel gets. */

/** Where a channel is connected. */
export interface Place {
  board: string;
  /** One, or three for red, green and blue. */
  pins: number[];
  /** The resistor to fit at the pin. */
  pull?: 'up' | 'down';
  /** What check says of pins that the maker chose. */
  remark?: string;
  chosen: boolean;
}

export type Where = 'header' | 'chips';

export interface Layout {
  boards: Map<string, PinBoard>;
  /** What the boards are for: servos, lights, and the computer itself. */
  header: string;
  servos: Where;
  lights: Where;
  /** Why it is not all on the header. */
  why: string;
  places: Map<string, Place>;
  /** Pins of the header that cut a board's outputs, by that board. */
  enables: Map<string, number>;
  stopPin?: number;
  /** Pins that the maker asked for and cannot have: by the id of the channel. */
  refused: Map<string, string>;
}

/** What the layout needs to know of a channel's electrical side. */
export interface Electrical {
  /** Pulses of a servo (us). */
  pulses?: readonly [number, number];
  activeLow: boolean;
  /** Something lies between pin and light. */
  between: boolean;
  pins: number;
}

export const HEADER = 'main';
/** How boards beside the header are called, by what is on them. */
const BESIDE = { moves: 'servos', lights: 'lights' } as const;

/** The driver of boards that a header is too small for: one whose pins are its own. */
const CHIP: DriverName = DRIVER_NAMES.find((driver) => !setUpOf(driver).header)!;

interface Wishes {
  servos?: Where;
  lights?: Where;
  /** By channel: `18`, `main 18`, `5 6 13`. */
  pins: ReadonlyMap<string, string>;
  stopPin?: string;
}

/**
 * The boards and pins of a prop. All on the header where it has the pins; otherwise servos, or lights, or
 * both on boards of their own.
 * @returns undefined where even that is not enough
 */
export function layOut(
  answers: Answers,
  slots: readonly PinSlot[],
  electrical: ReadonlyMap<string, Electrical>,
  wishes: Wishes,
): Layout | undefined {
  const ways: readonly (readonly [Where, Where])[] = [
    ['header', 'header'],
    ['chips', 'header'],
    ['header', 'chips'],
    ['chips', 'chips'],
  ];
  for (const [servos, lights] of ways) {
    if ((wishes.servos ?? servos) !== servos || (wishes.lights ?? lights) !== lights) continue;
    const layout = new Attempt(answers, slots, electrical, wishes, servos, lights).run();
    if (layout) return layout;
  }
  return undefined;
}

/** A board beside the header: what is on it, its name, and its number among its like. */
interface Chip {
  from: 'moves' | 'lights';
  name: string;
  at: number;
}

class Attempt {
  readonly #answers: Answers;
  readonly #slots: readonly PinSlot[];
  readonly #electrical: ReadonlyMap<string, Electrical>;
  readonly #wishes: Wishes;
  readonly #servos: Where;
  readonly #lights: Where;
  readonly #entries: Record<string, Board> = {};
  readonly #boards = new Map<string, PinBoard>();
  readonly #places = new Map<string, Place>();
  readonly #enables = new Map<string, number>();
  readonly #refused = new Map<string, string>();

  constructor(
    answers: Answers,
    slots: readonly PinSlot[],
    electrical: ReadonlyMap<string, Electrical>,
    wishes: Wishes,
    servos: Where,
    lights: Where,
  ) {
    this.#answers = answers;
    this.#slots = slots;
    this.#electrical = electrical;
    this.#wishes = wishes;
    this.#servos = servos;
    this.#lights = lights;
  }

  run(): Layout | undefined {
    const header = this.#header();
    const chips = this.#chips();
    if (!chips) return undefined;
    for (const slot of this.#slots) this.#wished(slot);
    const stopPin = this.#stopWished(header);
    const of = (from: PinSlot['from']) =>
      this.#slots.filter((slot) => slot.from === from && !this.#places.has(slot.id));
    const relays = of('relays');
    const lights = of('lights').filter(({ id }) => this.#onHeader('lights', id));
    const servos = this.#servos === 'header' ? of('moves') : [];
    // What is to come is spared the pins that only it can have.
    const later = (...some: (readonly PinSlot[])[]) => [
      ...some.flatMap((slots) => slots.slice(0, 1)).flatMap((slot) => this.#uses(slot).slice(0, 1)),
      USES.input('the stop button'),
    ];
    for (const slot of relays)
      if (!this.#put(slot, header, later(lights, servos))) return undefined;
    for (const chip of chips) this.#enable(chip, header, later(lights, servos));
    for (const slot of lights) if (!this.#put(slot, header, later(servos))) return undefined;
    const stop =
      stopPin ??
      (this.#answers.stopButton
        ? header.take(USES.input('the stop button'), 1, later(servos))?.[0]
        : undefined);
    if (this.#answers.stopButton && stop === undefined) return undefined;
    for (const slot of servos) if (!this.#put(slot, header, [])) return undefined;
    for (const from of ['moves', 'lights'] as const)
      for (const slot of of(from))
        if (
          !chips.some(
            (chip) => chip.from === from && this.#put(slot, this.#boards.get(chip.name)!, []),
          )
        )
          return undefined;
    return {
      boards: this.#boards,
      header: HEADER,
      servos: this.#servos,
      lights: this.#lights,
      why: this.#why(header),
      places: this.#places,
      enables: this.#enables,
      ...(stop !== undefined && { stopPin: stop }),
      refused: this.#refused,
    };
  }

  #header(): PinBoard {
    const driver = this.#answers.computer as DriverName;
    const { entry, surePins } = setUpOf(driver);
    return this.#add(HEADER, entry(0, 'pulses') as Board, surePins);
  }

  #add(name: string, entry: Board, surePins?: readonly number[]): PinBoard {
    this.#entries[name] = entry;
    const board = new PinBoard(name, entry, this.#entries, surePins);
    this.#boards.set(name, board);
    return board;
  }

  /** The boards beside the header, as many as it takes; undefined where that is more than a bus may have. */
  #chips(): Chip[] | undefined {
    const chips: Chip[] = [];
    const { most, entry } = setUpOf(CHIP);
    for (const [from, where, name] of [
      ['moves', this.#servos, BESIDE.moves],
      ['lights', this.#lights, BESIDE.lights],
    ] as const) {
      if (where !== 'chips') continue;
      const wanted = this.#slots.filter(
        (slot) => slot.from === from && !this.#onHeader(from, slot.id),
      );
      const sizes = wanted.map(({ id }) => this.#electrical.get(id)!.pins);
      for (let i = 0; i < chipsFor(sizes, this.#chipPins()); i++) {
        const own = i === 0 ? name : `${name}_${i + 1}`;
        const at = chips.length;
        this.#add(own, entry(at, from === 'moves' ? 'pulses' : 'PWM') as Board);
        chips.push({ from, name: own, at });
      }
    }
    return chips.length <= most ? chips : undefined;
  }

  /** A light without anything between hangs on a pin of the header, which gives more current. */
  #onHeader(from: 'moves' | 'lights', id: string): boolean {
    if (from === 'moves') return this.#servos === 'header';
    return this.#lights === 'header' || !this.#electrical.get(id)!.between;
  }

  #chipPins(): number {
    const { entry } = setUpOf(CHIP);
    return factsOf(entry(0, 'pulses') as Board).pins;
  }

  /** A pin of the header that cuts the outputs of a board, where one is left that suits. */
  #enable({ name, at, from }: Chip, header: PinBoard, others: readonly Use[]): void {
    const { entry, canBeCut } = setUpOf(CHIP);
    const pin = canBeCut ? header.take(USES.enable(name, name), 1, others)?.[0] : undefined;
    if (pin === undefined) return;
    const taken = this.#boards.get(name)!.taken;
    const purpose = from === 'moves' ? 'pulses' : 'PWM';
    const board = this.#add(name, entry(at, purpose, { board: HEADER, pin }) as Board);
    for (const one of taken) board.taken.add(one);
    this.#enables.set(name, pin);
    // Cut outputs float: what the maker chose there may need its resistor now.
    for (const slot of this.#slots) {
      const place = this.#places.get(slot.id);
      if (place?.board !== name) continue;
      const use = this.#uses(slot).find((one) => !board.verdict(place.pins[0]!, one).trouble);
      if (use?.pull) place.pull = use.pull;
    }
  }

  /** What a channel may be to its pins, the best first: without a resistor, then with one. */
  #uses({ id, from }: PinSlot): (Use & { pull?: 'up' | 'down' })[] {
    const { pulses, activeLow, between } = this.#electrical.get(id)!;
    const pull = activeLow ? 'up' : 'down';
    switch (from) {
      case 'moves':
        return [USES.servo(id, pulses!)];
      case 'relays':
        return [USES.relay(id, activeLow), { ...USES.relay(id, activeLow, pull), pull }];
      case 'lights':
        return between
          ? [USES.light(id, activeLow, true), { ...USES.light(id, activeLow, true, pull), pull }]
          : [USES.light(id, activeLow, false)];
    }
  }

  #put(slot: PinSlot, board: PinBoard, others: readonly Use[]): boolean {
    for (const { pull, ...use } of this.#uses(slot)) {
      const pins = board.take(use, this.#electrical.get(slot.id)!.pins, others);
      if (!pins) continue;
      this.#places.set(slot.id, { board: board.name, pins, chosen: false, ...(pull && { pull }) });
      return true;
    }
    return false;
  }

  /** The pins that the maker asks for, where they can be had. */
  #wished(slot: PinSlot): void {
    const text = this.#wishes.pins.get(slot.id);
    if (text === undefined) return;
    const place = this.#placeFor(slot, text);
    if (typeof place === 'string') {
      this.#refused.set(slot.id, place);
      return;
    }
    for (const pin of place.pins) this.#boards.get(place.board)!.taken.add(pin);
    this.#places.set(slot.id, place);
  }

  /** The place that a text names for a channel, or why it cannot have it. */
  #placeFor(slot: PinSlot, text: string): Place | string {
    const count = this.#electrical.get(slot.id)!.pins;
    const plain = text.replace(/\b(GPIO|output)\b/gi, '');
    const [, name, numbers] = /^\s*(?:([A-Za-z][\w-]*)[\s:]+)?([\d\s,]+)$/.exec(plain) ?? [];
    const pins =
      numbers
        ?.split(/[\s,]+/)
        .filter(Boolean)
        .map(Number) ?? [];
    const usual =
      slot.from === 'relays' || this.#onHeader(slot.from, slot.id)
        ? HEADER
        : [...this.#boards.keys()].find((one) => one.startsWith(BESIDE[slot.from]))!;
    const board = this.#boards.get(name ?? usual);
    if (!board)
      return `there is no board ${name}; use one of ${[...this.#boards.keys()].join(', ')}`;
    if (pins.length !== count || new Set(pins).size !== count)
      return `${text} is not ${count === 1 ? 'a pin' : `${count} pins`}; give ${count === 1 ? 'a number such as 18' : 'numbers such as 16 17 19'}, with the name of the board in front where it is another one`;
    const held = pins.find((pin) => board.taken.has(pin));
    if (held !== undefined) return `${board.word(held)} is taken; give another`;
    let remark: string | undefined;
    let pull: 'up' | 'down' | undefined;
    for (const pin of pins) {
      const verdicts = this.#uses(slot).map((use) => ({
        ...board.verdict(pin, use),
        pull: use.pull,
      }));
      const best =
        verdicts.find(({ trouble }) => trouble === undefined) ??
        verdicts.find(({ impossible }) => !impossible);
      if (!best) return `${verdicts[0]!.trouble}; give another`;
      remark ??= best.trouble;
      pull ??= best.pull;
    }
    return {
      ...{ board: board.name, pins, chosen: true },
      ...(pull && { pull }),
      ...(remark !== undefined && { remark }),
    };
  }

  #stopWished(header: PinBoard): number | undefined {
    const text = this.#wishes.stopPin;
    if (text === undefined || !this.#answers.stopButton) return undefined;
    const pin = Number(text.replace(/GPIO/i, '').trim());
    const { trouble } = header.verdict(pin, USES.input('the stop button'));
    const why = header.taken.has(pin) ? `${header.word(pin)} is taken` : trouble;
    if (why !== undefined) {
      this.#refused.set('stop', `${why}; give another`);
      return undefined;
    }
    header.taken.add(pin);
    return pin;
  }

  #why(header: PinBoard): string {
    const free = header.goodFor(USES.servo('', [1000, 2000])).length;
    if (this.#servos === 'header' && this.#lights === 'header')
      return 'the header has enough good pins for everything';
    const what = [
      this.#servos === 'chips' && 'the servos',
      this.#lights === 'chips' && 'the lights',
    ].filter(Boolean);
    return `the header has ${free} good pins for pulses: ${what.join(' and ')} do not fit there beside the rest`;
  }
}

/** How many boards of so many outputs hold these: three colours of a light stay on one board. */
function chipsFor(sizes: readonly number[], outputs: number): number {
  const left: number[] = [];
  for (const size of sizes) {
    const at = left.findIndex((free) => free >= size);
    if (at >= 0) left[at]! -= size;
    else left.push(outputs - size);
  }
  return left.length;
}
