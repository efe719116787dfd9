import { HEADER_LAYOUT } from '../../src/boards/header.ts';

/**
 * A prop file as large as a maker's may get: 60 servos and 20 lights and relays on five boards, each
 * with its wire, five fused servo supplies and one for the rest, interlocks, loads, linkages, groups,
 * poses, triggers, idle behaviour and 30 cues. Written as a person writes it, comments and all.
 */

const BOARDS = 5;
const SERVOS_PER_BOARD = 12;
export const LARGE_SERVOS = BOARDS * SERVOS_PER_BOARD;
const CUES = 30;
/** GPIOs that nothing else wants; 7 and 8 are pulled up, as relays that close on a low level want. */
const SERVO_PINS = [18, 21, 22, 20, 23, 24, 25, 26, 27, 11, 12, 13];
const RGB_PINS = [5, 6, 16];
const EXTRA_RGB_PINS = [9, 10, 19];
const LAMP_PINS = [17, 4];
const RELAY_PINS = [7, 8];

const servoName = (i: number) => `feather_${i + 1}`;
const headerPin = (gpio: number) =>
  1 + HEADER_LAYOUT.findIndex((pin) => 'gpio' in pin && pin.gpio === gpio);
const count = (from: number, to: number) =>
  Array.from({ length: to - from + 1 }, (_, i) => from + i).join(', ');

class Writer {
  readonly #channels: string[] = [];
  readonly #connectors: string[] = [];
  readonly #lights: string[] = [];
  readonly #relays: string[] = [];
  #wire = 1;
  /** Cavities of the 5 V block that are taken. */
  #plus = 1;
  #back = 31;

  #label(): string {
    return `W${String(this.#wire++).padStart(3, '0')}`;
  }

  #servo(board: number, k: number): void {
    const i = board * SERVOS_PER_BOARD + k;
    const pin = SERVO_PINS[k]!;
    const mirrored = i % 2 === 1;
    const from = 1000 + ((i * 7) % 40);
    const to = 1960 + ((i * 11) % 40);
    const lines = [
      `  ${servoName(i)}:`,
      '    kind: servo',
      `    output: { board: b${board + 1}, pin: ${pin} }`,
      `    rail: servos_${board + 1}`,
      mirrored
        ? `    calibration: [[${from}, 60], [1480, 14], [${to}, -30]] # mirrored: the angle falls`
        : `    calibration: [[${from}, -30], [1480, 14], [${to}, 60]] # measured: [pulse, angle]`,
      ...(i % 3 === 0 ? ['    envelopeUs: [950, 2050] # no pulse ever leaves this'] : []),
      '    limitsDeg: [-5, 50] # no move ever leaves this',
      `    speedDegS: ${120 + (i % 4) * 20}`,
      `    accelDegS2: ${600 + (i % 5) * 100}`,
      ...(i % 2 === 0 ? ['    jerkDegS3: 8000'] : []),
      '    draw: { idleA: 0.01, movingA: 0.2, stallA: 0.7 }',
      ...(i % 6 === 1
        ? [
            '    stallNm: 0.35 # at 6 V, from the data sheet',
            `    load: { flap: { massKg: 0.0${4 + (i % 5)}, centreMm: 90, levelDeg: 45 } }`,
          ]
        : []),
      '    marks: { down: 0, half: 20, open: 40 } # captured by jogging',
      ...(i % 5 === 4
        ? [`    requires: [{ channel: ${servoName(i - 1)}, above: -2 }] # it lies behind that one`]
        : []),
      `    park: { to: down, then: ${i % 3 === 0 ? 'hold' : 'release'} }`,
      '    wire:',
      `      label: ${this.#label()}`,
      '      gaugeAwg: 24',
      `      lengthM: ${0.4 + (i % 8) / 10}`,
      '      cores:',
      `        - { role: signal, colour: YE, from: J${board + 1}-${headerPin(pin)}, to: SV${i + 1}-1 }`,
      `        - { role: plus, colour: RD, from: TB${board + 1}-${k + 2}, to: SV${i + 1}-2 }`,
      `        - { role: return, colour: BK, from: TB${board + 1}-${k + 16}, to: SV${i + 1}-3 }`,
      '',
    ];
    this.#channels.push(...lines);
    this.#connectors.push(`  SV${i + 1}: { name: ${servoName(i)}, cavities: 3 }`);
  }

  #rgb(board: number, pins: readonly number[]): void {
    const name = `eye_${this.#lights.length + 1}`;
    this.#lights.push(name);
    const plug = `D${this.#lights.length}`;
    const core = (role: string, colour: string, pin: number, cavity: number) =>
      `        - { role: ${role}, colour: ${colour}, from: J${board + 1}-${headerPin(pin)}, to: ${plug}-${cavity} }`;
    this.#channels.push(
      `  ${name}:`,
      '    kind: rgb',
      `    output: { board: b${board + 1}, pins: [${pins.join(', ')}], common: anode }`,
      '    rail: logic5v',
      '    draw: { fullA: [0.02, 0.02, 0.02] }',
      '    led: { forwardV: [2.0, 3.1, 3.1], currentA: 0.02, resistorOhm: [160, 110, 110] }',
      '    fadeS: 0.2 # a change from dark to full takes this long at least',
      '    park: { to: "#000000" } # quoted: a bare # starts a comment',
      '    wire:',
      `      label: ${this.#label()}`,
      '      gaugeAwg: 26',
      '      lengthM: 0.4',
      '      cores:',
      core('red', 'RD', pins[0]!, 1),
      core('green', 'GN', pins[1]!, 3),
      core('blue', 'BU', pins[2]!, 4),
      `        - { role: plus, colour: WH, from: TB6-${this.#plus++}, to: ${plug}-2 }`,
      '',
    );
    this.#connectors.push(`  ${plug}: { name: ${name}, cavities: 4 }`);
  }

  #lamp(board: number, pin: number): void {
    const name = `lantern_${board + 1}_${pin}`;
    const plug = `H${board + 1}${pin}`;
    this.#channels.push(
      `  ${name}:`,
      '    kind: lamp',
      `    output: { board: b${board + 1}, pin: ${pin} }`,
      '    rail: logic5v',
      '    draw: { fullA: 0.06 }',
      '    fadeS: 0.3',
      '    park: { to: 0 }',
      '    wire:',
      `      label: ${this.#label()}`,
      '      gaugeAwg: 26',
      '      lengthM: 1.5',
      '      cores:',
      `        - { role: signal, colour: OG, from: J${board + 1}-${headerPin(pin)}, to: ${plug}-1 }`,
      `        - { role: plus, colour: RD, from: TB6-${this.#plus++}, to: ${plug}-2 }`,
      `        - { role: return, colour: BK, from: TB6-${this.#back++}, to: ${plug}-3 }`,
      '',
    );
    this.#connectors.push(`  ${plug}: { name: ${name} with its driver, cavities: 3 }`);
  }

  #relay(board: number, pin: number): void {
    const name = `mist_${this.#relays.length + 1}`;
    this.#relays.push(name);
    const plug = `K${this.#relays.length}`;
    this.#channels.push(
      `  ${name}:`,
      '    kind: relay',
      `    output: { board: b${board + 1}, pin: ${pin}, activeLow: true }`,
      '    rail: logic5v',
      '    draw: { onA: 0.1 }',
      '    duty: { maxOnS: 20, restS: 40 } # the atomiser must cool',
      `    requires: [{ channel: ${servoName(board * SERVOS_PER_BOARD)}, above: -3 }]`,
      '    park: { to: off }',
      '    wire:',
      `      label: ${this.#label()}`,
      '      gaugeAwg: 22',
      '      lengthM: 0.8',
      '      cores:',
      `        - { role: control, colour: GY, from: J${board + 1}-${headerPin(pin)}, to: ${plug}-IN }`,
      `        - { role: plus, colour: RD, from: TB6-${this.#plus++}, to: ${plug}-V }`,
      `        - { role: return, colour: BK, from: TB6-${this.#back++}, to: ${plug}-G }`,
      '',
    );
    this.#connectors.push(`  ${plug}: { name: relay of ${name} }`);
  }

  text(): string {
    for (let board = 0; board < BOARDS; board++) {
      this.#channels.push(`  # --- board ${board + 1}`, '');
      for (let k = 0; k < SERVOS_PER_BOARD; k++) this.#servo(board, k);
      this.#rgb(board, RGB_PINS);
      if (board === 0) this.#rgb(board, EXTRA_RGB_PINS);
      this.#lamp(board, LAMP_PINS[0]!);
      if (board === 1) this.#lamp(board, LAMP_PINS[1]!);
      this.#relay(board, RELAY_PINS[0]!);
      if (board < 3) this.#relay(board, RELAY_PINS[1]!);
    }
    const numbers = Array.from({ length: BOARDS }, (_, i) => i + 1);
    return [
      '# yaml-language-server: $schema=./prop.schema.json',
      '#',
      '# A bird of sixty feathers. Angles are in deg, pulses in us, currents in A, times in s.',
      'sinew: 1',
      'name: Great bird',
      '',
      'link: { timeoutMs: 500, onLoss: park }',
      '',
      'boards:',
      ...numbers.map((n) => `  b${n}: { driver: sim }`),
      '',
      'rails:',
      ...numbers.flatMap((n) => [
        `  servos_${n}:`,
        '    volts: 6.0',
        '    limitA: 5.0',
        `    supply: { plus: PS${n}-1, return: PS${n}-2 }`,
        `    fuse: { ratingA: 4, from: F${n}-1, to: F${n}-2 } # a blade, at the supply`,
      ]),
      '  logic5v:',
      '    volts: 5.0',
      '    limitA: 3.0',
      '    supply: { plus: PS6-1, return: PS6-2 }',
      '    fuse: { ratingA: 2, from: F6-1, to: F6-2 }',
      '',
      'channels:',
      ...this.#channels,
      '# The rest of the loom. A terminal block joins the cavities of a bar.',
      'connectors:',
      ...numbers.flatMap((n) => [
        `  J${n}: { name: the GPIO header of b${n}, board: b${n}, cavities: 40 }`,
        `  PS${n}: { name: 6 V supply ${n}, cavities: 2 }`,
        `  F${n}: { name: fuse ${n}, cavities: 2 }`,
        `  TB${n}: { name: 6 V block ${n}, cavities: 30, bridged: [[${count(1, 13)}], [${count(14, 28)}]] }`,
      ]),
      '  PS6: { name: 5 V supply, cavities: 2 }',
      '  F6: { name: fuse of lights and relays, cavities: 2 }',
      `  TB6: { name: 5 V block, cavities: 60, bridged: [[${count(1, 30)}], [${count(31, 60)}]] }`,
      ...this.#connectors,
      '',
      'wires:',
      ...numbers.flatMap((n) => [
        `  # supply ${n}: supply, fuse, block, and the one wire to the header's ground`,
        this.#trunk(`servos_${n}`, 14, 0.3, 'plus', `PS${n}-1`, `F${n}-1`),
        this.#trunk(`servos_${n}`, 14, 0.5, 'plus', `F${n}-2`, `TB${n}-1`),
        this.#trunk(`servos_${n}`, 14, 0.8, 'return', `PS${n}-2`, `TB${n}-14`),
        this.#trunk(`servos_${n}`, 22, 0.4, 'return', `TB${n}-15`, `J${n}-39`),
        this.#trunk('logic5v', 22, 0.4, 'return', `TB6-${50 + n}`, `J${n}-34`),
      ]),
      this.#trunk('logic5v', 18, 0.3, 'plus', 'PS6-1', 'F6-1'),
      this.#trunk('logic5v', 18, 0.5, 'plus', 'F6-2', 'TB6-30'),
      this.#trunk('logic5v', 18, 0.8, 'return', 'PS6-2', 'TB6-60'),
      '',
      ...this.#show(),
    ].join('\n');
  }

  #trunk(
    rail: string,
    gauge: number,
    lengthM: number,
    role: 'plus' | 'return',
    from: string,
    to: string,
  ): string {
    const colour = role === 'plus' ? 'RD' : 'BK';
    return `  - { label: ${this.#label()}, rail: ${rail}, gaugeAwg: ${gauge}, lengthM: ${lengthM}, cores: [{ role: ${role}, colour: ${colour}, from: ${from}, to: ${to} }] }`;
  }

  /** Groups, poses, cues and what starts them. */
  #show(): string[] {
    const fan = (n: number) =>
      Array.from({ length: 6 }, (_, k) => servoName((n * 6 + k) % LARGE_SERVOS));
    const all = Array.from({ length: LARGE_SERVOS }, (_, i) => servoName(i));
    const lines = [
      '# Servos that start and arrive together.',
      'groups:',
      ...Array.from({ length: LARGE_SERVOS / 6 }, (_, n) => `  fan_${n}: [${fan(n).join(', ')}]`),
      `  all: [${all.join(', ')}]`,
      '',
      'poses:',
    ];
    for (let n = 0; n < 10; n++) {
      const marks = fan(n).map((name, k) => `${name}: ${['down', 'half', 'open'][(n + k) % 3]}`);
      lines.push(`  pose_${n}: { ${marks.join(', ')}, ${this.#lights[n % 6]}: "#203040" }`);
    }
    lines.push('', 'cues:');
    for (let n = 0; n < CUES - 4; n++) {
      const one = n % 10;
      const other = (n + 5) % 10;
      const names = fan(n + 3);
      const mist = this.#relays[n % this.#relays.length]!;
      const moves = names.map((name, k) => `${name}: ${10 + ((n + 3 * k) % 30)}`).join(', ');
      lines.push(
        `  cue_${n}: # one fan after the other`,
        `    - { name: rise, at: 0, move: { fan_${one}: open }, overS: ${1 + (n % 4) / 2}, ease: ease-in-out }`,
        `    - { name: fall, after: rise, move: { fan_${one}: half }, overS: 1.5${n % 2 ? ', ease: "cubic-bezier(0.3, 0, 0.2, 1)"' : ''} }`,
        `    - { name: rest, after: fall, at: 0.2, move: { fan_${one}: down }, overS: 1.2, ease: ease-out }`,
        `    - { at: 0.5, colour: { ${this.#lights[n % 6]}: "oklch(75% 0.15 80)" }, fadeS: 1.0 }`,
        `    - { at: 1.0, pose: pose_${other}, overS: 2 }`,
        `    - { after: rest, at: 0.5, move: { ${moves} } }`,
        `    - { at: 2.5, switch: { ${mist}: on }, forS: 4 }`,
      );
    }
    lines.push(
      '  glance: # somewhere near, a look, and back',
      `    - { name: aside, at: 0, move: { ${servoName(7)}: { around: 10, spread: 8 } }, overS: 1.2, ease: ease-in-out }`,
      `    - { after: aside, at: 0.8, spreadS: 1.5, move: { ${servoName(7)}: down }, overS: 1.4, ease: ease-in-out }`,
      '  spread: # all of it at once',
      '    - { name: up, at: 0, move: { all: 35 }, overS: 3, ease: ease-in-out }',
      '    - { after: up, at: 1, move: { all: down }, overS: 3, ease: ease-in-out }',
      '  programme:',
      '    - { name: first, at: 0, cue: cue_0 }',
      '    - { name: second, after: first, cue: cue_5, times: 2 }',
      '    - { after: second, choose: [cue_7, cue_8, cue_9] }',
      '  greeting:',
      '    - { name: look, at: 0, cue: glance }',
      '    - { after: look, cue: spread }',
      '',
      'idle:',
      '  awake:',
      '    seed: 1',
      '    plays:',
      '      - { cue: glance, everyS: [10, 25] }',
      '',
      'park:',
      `  stages: [[${this.#relays.join(', ')}], [${fan(0).join(', ')}]]`,
      '  deadlineS: 6',
      '',
    );
    return lines;
  }
}

/** The text of the prop file. */
export function largePropText(): string {
  return new Writer().text();
}
