/** What the show's page and its server say to each other. Types alone: the page has no schemas. */

/** How one prop is, for the page. */
export interface ShownProp {
  prop: string;
  /** Its name in its own file; empty where it has not said it. */
  name: string;
  here: boolean;
  condition: string;
  armed: boolean;
  lockout: boolean;
  runs: string[];
  cues: string[];
  /** The worst first. That it is not armed is no problem. */
  problems: string[];
}

/** The same for every page. */
export interface ShownShow {
  show: string;
  /** Why the broker is away; null where it is there. */
  broker: string | null;
  /** What the broker does not let this page's server do, and the remedy, as a sentence; null where it lets it do all. */
  rights: string | null;
  /** Those with problems first. */
  props: ShownProp[];
  groups: string[];
}

export interface ShowPageState extends ShownShow {
  /** Whether this page may start cues, and who else may. */
  control: boolean;
  holder: string | null;
}

/** What a page asks of the show; `target` is a prop, a group, or `all`. */
export type ShowPageCommand =
  | { act: 'go'; target: string; cue: string }
  | { act: 'end' | 'park' | 'lockout'; target: string }
  | { act: 'stop'; target: string; category: 0 | 1 | 2 };

export type ShowPageAct =
  | ShowPageCommand
  /** Takes the right to start cues, or gives it back. */
  | { act: 'take' | 'release' };

/** What became of it: one line for each prop that did not do it, and one for those that did. */
export interface ShowPageAnswer {
  ok: boolean;
  lines: string[];
}
