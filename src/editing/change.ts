/** What a person asks for: one change of the parts of a prop. */

/** What can be added, renamed, moved or removed. */
export type PartOfProp = 'channel' | 'rail' | 'group' | 'pose' | 'mark' | 'wire' | 'sense';

/** A core of a wire, as the file has it. */
export interface CoreSpec {
  role: string;
  colour: string;
  from: string;
  to: string;
}

export type Change = Add | Rename | Move | Remove;

export interface Rename {
  do: 'rename';
  what: PartOfProp;
  /** Of a wire, its label. */
  name: string;
  to: string;
  /** Of a mark: the servos that have it under this name, and get the other one together. */
  channels?: string[] | undefined;
}

export type Add =
  | {
      do: 'add';
      what: 'channel';
      name: string;
      kind: string;
      part?: string | undefined;
      /** Proposed where it is not given. */
      board?: string | undefined;
      pins?: number[] | undefined;
      rail?: string | undefined;
      /** Of a servo: its soft limits (deg). */
      limitsDeg?: [number, number] | undefined;
      /** Of a relay: a low level closes it. */
      activeLow?: boolean | undefined;
    }
  | {
      do: 'add';
      what: 'board';
      name: string;
      /** A part on an I2C bus, or the driver of one. */
      part: string;
      bus?: number | undefined;
      /** Proposed where it is not given. */
      address?: number | undefined;
    }
  | {
      do: 'add';
      what: 'sense';
      name: string;
      kind: 'volts' | 'current';
      board: string;
      /** Of a board with analogue inputs; proposed where it is not given. */
      input?: number | undefined;
      rail?: string | undefined;
      limits?:
        | { warnBelow?: number; warnAbove?: number; parkBelow?: number; dipBelow?: number }
        | undefined;
    }
  | {
      do: 'add';
      what: 'sense';
      name: string;
      kind: 'position';
      board: string;
      input?: number | undefined;
      /** The servo whose angle it is. */
      channel: string;
    }
  | {
      do: 'add';
      what: 'sense';
      name: string;
      kind: 'level';
      board: string;
      input?: number | undefined;
      /** What is read when there is none, and when all is there (V); proposed where it is not given. */
      atV?: [none: number, all: number] | undefined;
      limits?: { warnBelow?: number; warnAbove?: number } | undefined;
    }
  | {
      do: 'add';
      what: 'sense';
      name: string;
      kind: 'contact';
      board: string;
      /** Proposed where it is not given. */
      pin?: number | undefined;
      /** A warning is shown while it is like this. */
      warnWhen?: 'open' | 'closed' | undefined;
    }
  | { do: 'add'; what: 'rail'; name: string; volts: number; limitA: number }
  | { do: 'add'; what: 'mark'; name: string; channels: string[]; deg: number }
  | { do: 'add'; what: 'group'; name: string; members: string[] }
  | { do: 'add'; what: 'pose'; name: string; values: Record<string, number | string> }
  | {
      do: 'add';
      what: 'wire';
      /** Its label; the next free number where it is not given. */
      name?: string | undefined;
      channel?: string | undefined;
      rail?: string | undefined;
      gaugeAwg?: number | undefined;
      lengthM?: number | undefined;
      cores: CoreSpec[];
    };

export type Move =
  /** To other pins, another board or another rail. */
  | {
      do: 'move';
      what: 'channel';
      name: string;
      board?: string | undefined;
      pins?: number[] | undefined;
      rail?: string | undefined;
    }
  /** To another place (from 0) among the entries of its kind. */
  | { do: 'order'; what: 'channel' | 'rail' | 'group' | 'pose'; name: string; place: number }
  /** A channel or group: into a stage of parking (from 0), one behind the last, or none (-1). */
  | { do: 'move'; what: 'stage'; name: string; stage: number }
  /** A whole stage of parking to another place (from 0). */
  | { do: 'order'; what: 'stage'; stage: number; place: number }
  /** An end of a core (from 0) of a wire to another cavity. */
  | { do: 'move'; what: 'wire'; name: string; core: number; end: 'from' | 'to'; to: string };

export interface Remove {
  do: 'remove';
  what: PartOfProp;
  name: string;
  channels?: string[] | undefined;
}
