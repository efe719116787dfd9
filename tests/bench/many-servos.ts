const PER_BOARD = 22;

/** A prop of servos that take 6 s from one end to the other, all in the group `all`. */
export function manyServos(count: number): object {
  const servos = Array.from({ length: count }, (_, i) => `servo_${i}`);
  const boards = Array.from({ length: Math.ceil(count / PER_BOARD) }, (_, i) => `board_${i}`);
  return {
    sinew: 1,
    name: 'Many servos',
    boards: Object.fromEntries(boards.map((name) => [name, { driver: 'sim' }])),
    channels: Object.fromEntries(
      servos.map((name, i) => [
        name,
        {
          kind: 'servo',
          output: { board: boards[i % boards.length], pin: 4 + Math.floor(i / boards.length) },
          calibration: [
            [500, -90],
            [2500, 90],
          ],
          speedDegS: 20,
          marks: { back: -60 },
          park: { to: 'back' },
        },
      ]),
    ),
    groups: { all: servos },
  };
}
