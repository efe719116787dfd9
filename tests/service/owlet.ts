/** A small owl: its file is read and checked much faster than that of the demo. */
export const OWLET = `# An owl for tests.
sinew: 1
name: Foyer owl
link: { timeoutMs: 500 }
boards:
  head: { driver: sim }
rails:
  servo6v: { volts: 6.0, limitA: 5.0 }
channels:
  beak:
    kind: servo
    output: { board: head, pin: 18 }
    rail: servo6v
    calibration: [[1000, -45], [1500, 0], [2000, 45]] # measured
    limitsDeg: [-5, 35] # captured by jogging
    speedDegS: 120
    accelDegS2: 600
    marks: { shut: 0, open: 30 } # captured by jogging
    park: { to: shut, then: release }
    wire: { label: W07, gaugeAwg: 24, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
  lid_left:
    kind: servo
    output: { board: head, pin: 17 }
    rail: servo6v
    calibration: [[1000, -45], [2000, 45]]
    marks: { shut: 0, open: 40 }
    park: { to: shut, then: release }
  wing_left:
    kind: servo
    output: { board: head, pin: 27 }
    rail: servo6v
    calibration: [[1000, 0], [2000, 90]]
    marks: { folded: 2, spread: 80 }
    park: { to: folded, then: hold }
  mist:
    kind: relay
    output: { board: head, pin: 7, activeLow: true }
    duty: { maxOnS: 20, restS: 40 }
  fan:
    kind: relay
    output: { board: head, pin: 8, activeLow: true }
groups:
  face: [beak, lid_left]
poses:
  asleep: { lid_left: shut, beak: shut }
cues:
  wake:
    - { at: 0, move: { lid_left: open }, overS: 1.2 }
    - { at: 1, move: { beak: open } }
  drowse:
    - { at: 0, pose: asleep }
triggers:
  button: { input: { board: head, pin: 22 }, cue: wake }
  opening: { daily: "10:00", cue: wake }
park:
  stages: [[mist, fan], [beak, lid_left]]
`;
