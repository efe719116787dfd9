import type { Answers, LightAnswer } from './answers.ts';
import type { Layout, Place } from './layout.ts';
import type { Slot } from './slots.ts';
import type { Branch, SupplyPlan } from './supplies.ts';

/** Everything that the file is written from. */
export interface Draft {
  answers: Answers;
  channels: DraftChannel[];
  layout: Layout;
  plan: SupplyPlan;
  groups: { name: string; members: string[]; why: string }[];
  deadlineS: number;
  cautions: string[];
}

export interface DraftChannel {
  slot: Slot;
  name: string;
  place: Place;
  why: Record<string, string>;
  rail: Branch | undefined;
  /** Of the contact of a relay. */
  loadRail: Branch | undefined;
  servo?: ServoDraft;
  light?: LightDraft;
  relay?: RelayDraft;
  sound?: SoundDraft;
}

export interface ServoDraft {
  calibration: [[number, number], [number, number]];
  limitsDeg: [number, number];
  marks: Record<string, number>;
  park: { to: string; then: string };
  speedDegS?: number;
  accelDegS2?: number;
}

export interface LightDraft {
  part: string;
  through: LightAnswer['wired'];
  resistorOhm: number[];
}

export interface RelayDraft {
  part: string | undefined;
  connector: string;
  momentary: boolean;
  onA: number;
  duty: { maxOnS: number; restS: number } | undefined;
  vapour: { tankMl: number; rateMlPerH: number } | undefined;
  lit: boolean;
}

export interface SoundDraft {
  /** The loudest amplitude, as a share of full scale. */
  ceiling: number;
  fadeOutS: number;
}

/** The module of a relay (A at 5 V): `relay-board-5v` of the library says about 70 mA. */
export const COIL_A = 0.07;
