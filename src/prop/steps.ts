/** The parts of a cue step that command channels by name. */
export const COMMAND_PARTS = ['move', 'colour', 'dim', 'switch'] as const;
export type CommandPart = (typeof COMMAND_PARTS)[number];
