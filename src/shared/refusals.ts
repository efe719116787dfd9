import type { ErrorName } from './error-codes.ts';

/**
 * Every refusal that there is. The first part of a code is the subject, the second what is wrong with it.
 * A code never changes its meaning; clients use it, people the sentence. `[class, meaning, remedy]`:
 * the class gives the number of the JSON-RPC error. The table in DEVELOPERS.md is made from this.
 */
export const REFUSALS = {
  // --- the frame and the call -----------------------------------------------------------------------
  'request.not-json': ['parse', 'The frame is not JSON.', 'Send JSON-RPC 2.0 as text.'],
  'request.malformed': [
    'invalidRequest',
    'The JSON is not a JSON-RPC 2.0 request.',
    'See what the reason names.',
  ],
  'request.empty-batch': [
    'invalidRequest',
    'The batch is empty.',
    'Put at least one request in it.',
  ],
  'request.too-large': [
    'invalidRequest',
    'The frame is larger than 64 KiB.',
    'Send less; change a large prop file by edits.',
  ],
  'request.binary': ['invalidRequest', 'The frame is binary.', 'Send text frames.'],
  'request.too-many': [
    'tooMany',
    'The session sends requests more often than it may.',
    'Wait for `retryMs`, then ask again.',
  ],
  'request.batch-too-large': [
    'tooMany',
    'The batch has more requests than are allowed; nothing was done.',
    'Send it in parts.',
  ],
  'request.unanswered': [
    'tooMany',
    'Too many calls of the session are not answered yet.',
    'Wait for their answers.',
  ],
  'method.unknown': [
    'methodNotFound',
    'There is no such method.',
    '`rpc.discover` lists the methods.',
  ],
  'params.by-position': [
    'invalidParams',
    'The parameters are an array.',
    'Give them by name, in an object.',
  ],
  'params.invalid': [
    'invalidParams',
    'A parameter is missing, unknown or wrong.',
    '`issues` names each and what would be right.',
  ],
  'params.not-finite': ['invalidParams', 'A number is not finite.', 'Give a finite number.'],

  // --- the session and who may do what ---------------------------------------------------------------
  'session.not-open': [
    'notAuthorised',
    'The session is not open yet.',
    'Call `session.open` first.',
  ],
  'session.already-open': [
    'invalidRequest',
    'The session is open already.',
    'Open it once; connect again for another name.',
  ],
  'session.ended': ['notAuthorised', 'The session has ended.', 'Open a new one.'],
  'session.gone': [
    'condition',
    'The session had ended before its turn; nothing was done.',
    'Ask again from a session that stays open.',
  ],
  'session.stop-only': [
    'tooMany',
    'Every place is taken: this session may only stop and park.',
    'Close another session, then open this one again.',
  ],
  'session.no-place': [
    'tooMany',
    'Every place is taken, including those for stop and park.',
    'Try again after `retryMs`.',
  ],
  'origin.refused': [
    'notAuthorised',
    'The daemon refuses the connection before a session opens (HTTP 401 or 403).',
    'Ask from an address and page that it allows.',
  ],
  'token.missing': [
    'notAuthorised',
    'The daemon asks for a token.',
    'Give the content of its token file.',
  ],
  'token.wrong': [
    'notAuthorised',
    'The token is wrong.',
    "Give the content of the daemon's token file.",
  ],
  'invite.void': [
    'notAuthorised',
    'The link for another device was used already, or is too old.',
    'Make another: `sinew token --qr`.',
  ],
  'invite.no-token': [
    'condition',
    'The daemon asks for no token, so there is nothing to let a device in with.',
    'Open its address, or start it with `--token-file`.',
  ],
  'invite.not-yours': [
    'notAuthorised',
    'A device that was let in by a link cannot let in another.',
    'Ask whoever has the token.',
  ],
  'token.unsafe-file': [
    'notAuthorised',
    'The token file is missing, weak, or readable by others.',
    'Do as the reason says.',
  ],
  'lease.held': [
    'notHolder',
    'Another session holds the lease.',
    'Ask the holder to release it, or wait.',
  ],
  'lease.not-taken': ['notHolder', 'Nobody holds the lease.', 'Call `lease.take` first.'],
  'lease.no-place': [
    'notHolder',
    'A session without a place of its own cannot hold the lease.',
    'Close another session, then open this one again.',
  ],

  // --- the condition and what keeps the prop still ------------------------------------------------------
  'condition.forbids': [
    'condition',
    'The condition of the prop forbids it.',
    'Bring it into the condition that the reason names.',
  ],
  'condition.changed': [
    'condition',
    'The condition of the prop changed before it was done.',
    'See the journal for why, then ask again.',
  ],
  'wake.unknown-servos': [
    'condition',
    'Nobody knows where some servos stand.',
    'Keep all hands clear, then wake with `confirm: "unknown"`.',
  ],
  'wake.not-asked': [
    'condition',
    'The prop is parked and the command may not wake it.',
    'Add `--wake`.',
  ],
  'reset.confirm': [
    'condition',
    'Somebody else stopped the prop.',
    'See that it is safe, then reset with `confirm` and their name.',
  ],
  'reset.too-soon': [
    'condition',
    'The prop was stopped only just now.',
    'Wait for `waitS`, then reset.',
  ],
  'reset.under-way': ['condition', 'A reset is under way already.', 'Wait for its answer.'],
  'reset.still-moving': [
    'condition',
    'Something still moves.',
    'Wait until it stands still, then reset.',
  ],
  'reset.stop-pressed': ['condition', 'The stop button is pressed.', 'Release it, then reset.'],
  'reset.stopped-again': [
    'condition',
    'The prop was stopped again meanwhile.',
    'See that it is safe, then reset.',
  ],
  'reset.board-fails': [
    'condition',
    'A board still fails, or has failed again.',
    'Fix it, then reset.',
  ],
  'lockout.set': [
    'condition',
    'Hands are in the prop.',
    'Whoever set the lockout clears it, or a key switch.',
  ],
  'lockout.too-many': [
    'tooMany',
    'Too many locks are set; the prop is locked.',
    'Clear one first.',
  ],
  'lockout.no-reason': [
    'invalidParams',
    'A lockout cannot be forced without a reason.',
    'Say in `reason` how you know that nobody is in reach.',
  ],
  'sense.low': [
    'condition',
    'A measured voltage is below the limit at which the prop rests.',
    'Charge or change the battery, or look at the supply; see `sense.list`.',
  ],
  'guard.broken': [
    'condition',
    'A guard is broken.',
    'Clear the mat, the beam or the door; a broken wire counts as well.',
  ],
  'interlock.unmet': [
    'interlock',
    'A requirement of the channel is not met.',
    'Bring the other channel to where `requires` says.',
  ],
  'interlock.together': [
    'interlock',
    'The same command takes away what the channel needs.',
    'Bring the channel where it is needed first.',
  ],
  'interlock.needed': [
    'interlock',
    'Another channel needs this one where it is.',
    'Bring the other channel to rest first.',
  ],
  'desk.two-sources': [
    'condition',
    'Two sources of E1.31 with the same priority give a servo different levels.',
    'Let one source lead it, or give that one a higher priority.',
  ],
  'osc.wrong-value': [
    'invalidParams',
    'An OSC message that leads a servo does not carry just one number from 0 to 1.',
    'Let the sender send one float, 0 to 1.',
  ],
  'trigger.not-armed': [
    'notHolder',
    'Somebody has control and has not armed the triggers.',
    'The holder calls `trigger.arm`.',
  ],
  'take.unusable': [
    'condition',
    'The take cannot be played.',
    'Ask `sinew check` what is wrong with it.',
  ],
  'trigger.busy': ['condition', 'Another trigger is running.', 'Wait until it is over.'],
  'trigger.attended-only': [
    'condition',
    'Nobody has control, and the trigger may not run unattended.',
    'Take the lease, or say so in the prop file.',
  ],
  'trigger.unattended': [
    'condition',
    'The daemon ended in a crash or a power cut, or a low voltage made the prop park.',
    'Look at the prop and take the lease once.',
  ],
  'trigger.not-parked': [
    'condition',
    'The prop is not parked, and the trigger starts only from there.',
    'Park it.',
  ],

  // --- the show of many props --------------------------------------------------------------------------
  'show.none': ['condition', 'The prop file has no show.', 'Add `show:` to it.'],
  'show.not-armed': [
    'notHolder',
    'The prop is not armed for the show.',
    'Look at it, take the lease there, and call `show.arm`.',
  ],
  'show.late': ['condition', 'The time of the go has passed; nothing moved.', 'Send it earlier.'],
  'show.too-early': [
    'condition',
    'The go is for a time too far ahead.',
    'Send it at most 60 s before.',
  ],
  'show.no-clock': [
    'condition',
    'The prop does not know the clock of the conductor.',
    'Send the go again in a second.',
  ],
  'show.uncertain': [
    'condition',
    "The show's clock is known less exactly than the prop file asks for.",
    'Look at the network, or allow more by `show.maxUncertaintyMs`.',
  ],
  'show.void': ['condition', 'The go is older than it may be; nothing moved.', 'Send another.'],
  'show.too-many': ['tooMany', 'Too many goes wait for their time.', 'End them, or wait.'],
  'show.busy': [
    'condition',
    'A trigger runs with nobody in control.',
    'Wait until it is over, or park.',
  ],
  'show.not-awake': [
    'condition',
    'The prop was not yet awake when the time of the go came.',
    'Send the go earlier.',
  ],
  'show.ended': [
    'condition',
    'The go was ended before its time, or the prop was parked.',
    'Send another.',
  ],
  'show.broker-lost': [
    'condition',
    'The broker was lost before the time of the go.',
    'Send it again once the prop is back.',
  ],
  'show.not-running': [
    'condition',
    'The show has started no such cue, or it is over.',
    'See what the status of the prop says.',
  ],

  // --- channels and moves ----------------------------------------------------------------------------
  'channel.unknown': ['noSuchThing', 'There is no such channel.', '`channel.list` names them.'],
  'channel.wrong-kind': [
    'invalidParams',
    'The channel is of another kind.',
    'Use the method that the reason names.',
  ],
  'group.unknown': ['noSuchThing', 'There is no such group.', '`channel.list` names them.'],
  'pose.unknown': ['noSuchThing', 'There is no such pose.', '`channel.list` names them.'],
  'mark.unknown': ['noSuchThing', 'The servo has no such mark.', '`channel.list` names them.'],
  'board.unknown': ['noSuchThing', 'There is no such board.', '`board.list` names them.'],
  'colour.unreadable': [
    'invalidParams',
    'The text is not a CSS colour.',
    'Give one such as `#ffcc00` or `orange`.',
  ],
  'limits.outside': [
    'outOfLimits',
    'The angle is outside the limits of the servo.',
    'Stay within `limitsDeg`.',
  ],
  'limits.crossed': [
    'outOfLimits',
    'The low limit would not be below the high one.',
    'Move the servo to the other side of its other limit.',
  ],
  'limits.park-outside': [
    'outOfLimits',
    'The park position would be outside the limits.',
    'Capture another park position first.',
  ],
  'limits.pushing': [
    'outOfLimits',
    'The servo pushes against something, so this is not a limit.',
    'Go back to `wouldDo`, and capture there.',
  ],
  'level.outside': ['outOfLimits', 'The level is not within 0 to 1.', 'Stay within 0 to 1.'],
  'jog.no-step': ['invalidParams', 'No step is given.', 'Give `byDeg` or `byUs`.'],
  'jog.too-far': [
    'outOfLimits',
    'A step beyond the limits is too large.',
    'Take steps of at most `limit` deg.',
  ],
  'jog.feeling': [
    'condition',
    'A servo is feeling for its stop; nothing else may move meanwhile.',
    'Wait until it has ended.',
  ],
  'jog.others-move': [
    'condition',
    'Another servo moves; feeling for a stop is for one alone.',
    'Wait until it stands still.',
  ],
  'jog.moving': [
    'condition',
    'The servo moves; it feels for its stop from where it stands.',
    'Wait until it stands still.',
  ],
  'measure.running': [
    'condition',
    'A servo is being measured already.',
    'Release its button first.',
  ],
  'measure.no-sensor': [
    'condition',
    'Nothing measures the current of this servo alone.',
    'Fit a current sensor in its plus wire, and name it in `senses`.',
  ],
  'measure.sensor': [
    'condition',
    'The sensor sticks, is gone, too slow, or measures something else; nothing is proposed.',
    'Check the sensor and its wires, then measure again.',
  ],
  'measure.pushes': [
    'condition',
    'The servo pushes against something where it should run free.',
    'Take away what is in its way, then measure again.',
  ],
  'measure.unsteady': [
    'condition',
    'What was measured is not the same when it is measured again.',
    'Look for what is loose or sticks, then measure again.',
  ],
  'measure.taken': ['condition', 'Another command has sent the servo elsewhere.', 'Measure again.'],
  'measure.released': [
    'condition',
    'The button was released, or the link hesitated: the measurement has ended.',
    'Hold the button throughout.',
  ],
  'measure.unknown': [
    'condition',
    'There is no such measurement of this session.',
    'Begin one: `measure.begin`.',
  ],
  'measure.nothing': [
    'condition',
    'The measurement has nothing of that kind to write.',
    'See `proposed` of measure.hold.',
  ],
  'measure.outdated': [
    'condition',
    'The prop file has changed since it was measured.',
    'Measure again.',
  ],
  'move.interrupted': [
    'condition',
    'Something stopped or took over the servo on its way.',
    'See the journal for what, then ask again.',
  ],
  'capture.moving': ['condition', 'A channel still changes.', 'Capture when it stands still.'],
  'capture.outside': [
    'outOfLimits',
    'The servo stands outside its limits.',
    'Capture the limit first, or go back inside.',
  ],
  'capture.unknown': [
    'condition',
    'Nobody knows where the channel is: it is limp, or its position is unknown.',
    'Move it first, or capture other channels.',
  ],
  'teach.under-way': [
    'condition',
    'Servos are turned by hand, so nothing else moves.',
    'End that with `teach.end`, or park.',
  ],
  'teach.moving': [
    'condition',
    'Something moves, so no hand may go in.',
    'Let it end, or stop it, then ask again.',
  ],
  'teach.not-measured': [
    'condition',
    'The angle of the servo is not measured, or cannot be trusted.',
    'The reason names what is amiss: a sense to add, to mend, or to prove by a few moves.',
  ],
  'teach.not-limp': [
    'condition',
    'The servo is not turned by hand, so its measured angle is not captured.',
    'Begin with `teach.begin`, or capture the commanded angle.',
  ],
  'teach.outside': [
    'outOfLimits',
    'A servo that was turned by hand is measured outside its limits.',
    'Turn it back inside, or park.',
  ],
  'capture.nothing': ['condition', 'There is no capture to undo.', 'Nothing to do.'],
  'duty.rest': ['dutyRest', 'The relay has used up its time and rests.', 'Wait for `secondsLeft`.'],
  'duty.unsaved': [
    'condition',
    'The closure of a relay with a duty guard cannot be saved.',
    'Let the daemon write to its state folder.',
  ],
  'rail.limit': [
    'railLimit',
    'The rail would have to give more than its limit.',
    'Let something else come to rest first.',
  ],

  // --- cues -----------------------------------------------------------------------------------------
  'cue.unknown': ['noSuchThing', 'There is no such cue.', '`cue.list` names them.'],
  'cue.too-long': [
    'outOfLimits',
    'The cue has too many steps, including those of the cues within it.',
    'Split it, or repeat a cue with `times`.',
  ],
  'cue.clash': [
    'condition',
    'A running cue uses some of the same channels.',
    'Stop it first, or let the cue take over.',
  ],
  'cue.ended-early': [
    'condition',
    'The cue was ended before it was over.',
    'See the journal for why.',
  ],
  'cue.past-end': [
    'outOfLimits',
    'The cue is over at the time from which it is to be played.',
    'Give a time before its end.',
  ],
  'cue.asked-again': [
    'condition',
    'Something else was asked for while the cue was worked out from that time or at that rate.',
    'Run it again if it is still wanted.',
  ],
  'cue.in-use': [
    'condition',
    'The cue runs, or something else in the prop file uses it; nothing was written.',
    'The reason names it: stop it, or change that first.',
  ],
  'cue.no-such-steps': [
    'outOfLimits',
    'The cue does not have the steps that are to be replaced.',
    'Give `from` and `count` within its steps, as `prop.data` has them.',
  ],
  'cue.newer-question': [
    'tooMany',
    'The session has asked for a newer rehearsal, which is answered instead.',
    'Wait for that answer.',
  ],
  'incident.unknown': [
    'noSuchThing',
    'No such incident is kept.',
    '`incident.list` names those that are; the oldest go first.',
  ],
  'idle.unknown': ['noSuchThing', 'There is no such idle behaviour.', '`cue.list` names them.'],

  // --- the prop file ----------------------------------------------------------------------------------
  'file.taking-effect': [
    'condition',
    'The changed prop file is taking effect.',
    'Try again in a moment.',
  ],
  'file.changed-by-hand': [
    'condition',
    'The place in the file has since been changed by hand; nothing was written.',
    'Put it back first, or edit the file.',
  ],
  'file.other-version': [
    'condition',
    'The prop file has changed since; nothing was written.',
    'Read it again (`prop.read`), and make your changes to that.',
  ],
  'file.same-version': ['condition', 'That version is the present one.', 'Nothing to do.'],
  'file.waits': [
    'condition',
    'The place was changed in a version that waits until the prop is parked; nothing was written.',
    'Park first, then ask again.',
  ],
  'file.unusable': [
    'condition',
    'The prop file on the disk cannot be used; nothing was written.',
    'Fix it; `prop.read` says what is wrong.',
  ],
  'file.restless': [
    'condition',
    'The prop file keeps changing.',
    'Try again when it has stopped changing.',
  ],
  'file.cannot-edit': [
    'condition',
    'The edit does not fit the file as it is written.',
    'Do as the reason says, or edit the file by hand.',
  ],
  'file.would-be-wrong': [
    'outOfLimits',
    'The prop file would have errors; nothing was written.',
    '`findings` names them.',
  ],
  'change.refused': [
    'condition',
    'A part cannot be added, renamed, moved or removed like this; nothing was written.',
    'The reason names the places, and what to do first.',
  ],
  'file.boards-cannot': [
    'condition',
    'The boards cannot do what the file asks for.',
    'Change what the reason names.',
  ],
  'file.not-saved': [
    'internal',
    'The prop file cannot be saved.',
    'Do as the reason says, then try again.',
  ],
  'file.has-errors': [
    'condition',
    'The prop file has errors, so nothing can be worked out from it.',
    'Fix it; `sinew check` shows them.',
  ],
  'file.text-or-edits': [
    'invalidParams',
    'Neither a text nor edits are given, or both are.',
    'Give exactly one.',
  ],
  'file.too-large': [
    'invalidParams',
    'The prop file is too large to send.',
    'Copy it over the file on the board, or send edits.',
  ],
  'file.unreadable': ['invalidParams', 'The file cannot be read.', 'Check its path and rights.'],
  'file.check-first': ['invalidParams', 'The file has errors.', '`sinew check` shows them.'],

  // --- recordings and takes ------------------------------------------------------------------------
  'take.unknown': ['noSuchThing', 'There is no such take.', 'The reason suggests a name.'],
  'take.running': ['condition', 'Something is being recorded.', 'Call `take.end` first.'],
  'take.nothing': [
    'condition',
    'Nothing has been recorded since the daemon started.',
    'Call `take.begin`.',
  ],
  'take.trimmed-away': [
    'invalidParams',
    'Nothing of the recording is left between the two times.',
    'Stay within its `durationS`.',
  ],
  'take.name-taken': [
    'condition',
    'There is a take of this name.',
    'Give another name, or `replace: true`.',
  ],
  'take.not-saved': [
    'internal',
    'The take cannot be saved; the recording is still there.',
    'Do as the reason says, then try again.',
  ],
  'take.too-many': [
    'condition',
    'Too many files of this take are beside the prop file.',
    'Delete those that you no longer need, or give another name.',
  ],
  'take.too-long': [
    'outOfLimits',
    'The take has more points than a file may have.',
    'Trim it, or allow a larger tolerance.',
  ],

  // --- sounds that are sent -----------------------------------------------------------------------
  'sound.too-large': [
    'invalidParams',
    'The sound is larger than 20 MB.',
    'Make it shorter, or save it as FLAC, OGG or MP3.',
  ],
  'sound.busy': [
    'tooMany',
    'Another sound is being sent.',
    'Wait until it is here, or call `sound.cancel` where it is your own.',
  ],
  'sound.no-upload': [
    'condition',
    'No such sound is being sent; it may have taken too long.',
    'Begin again with `sound.begin`.',
  ],
  'sound.wrong-part': [
    'invalidParams',
    'The part does not follow the one before it, or a part is missing.',
    'Go on at `received`.',
  ],
  'sound.name-taken': [
    'condition',
    'There is a sound of this name.',
    'Give another name, or `replace: true`.',
  ],
  'sound.too-many': [
    'condition',
    'Too many files of this sound are beside the prop file.',
    'Delete those that you no longer need, or give another name.',
  ],
  'sound.not-saved': [
    'internal',
    'The sound cannot be saved.',
    'Do as the reason says, then try again.',
  ],
  'sound.in-use': [
    'condition',
    'A cue plays the sound.',
    'Remove those steps first; the reason names the cues.',
  ],

  // --- the picture of the prop --------------------------------------------------------------------
  'picture.bad-name': [
    'invalidParams',
    'The name is not the plain name of a picture.',
    'Give a name without a folder, such as owl.jpg.',
  ],
  'picture.too-large': [
    'invalidParams',
    'The picture is larger than 5 MB.',
    'Make it smaller; 2000 pixels wide is plenty.',
  ],
  'picture.too-many-pixels': [
    'invalidParams',
    'The picture has more pixels than a browser should show.',
    'Make it smaller; 2000 pixels wide is plenty.',
  ],
  'picture.not-a-picture': [
    'invalidParams',
    'The file is not a picture of a known kind.',
    'Save it as PNG, JPEG or plain SVG.',
  ],
  'picture.damaged': [
    'invalidParams',
    'The picture is damaged or cut short.',
    'Save it again, or choose another.',
  ],
  'picture.unsafe': [
    'invalidParams',
    'The drawing has a script, a link, a picture within, or too many parts.',
    'Save it as plain SVG, or as PNG.',
  ],
  'scan.busy': [
    'tooMany',
    'The I2C buses are being scanned, or were only just.',
    'Wait for `waitS`, then ask again.',
  ],
  'scan.not-at-rest': [
    'condition',
    'Something moves or may move, and the bus is for that.',
    'Park the prop, or wait until it stands still.',
  ],
  'picture.busy': [
    'tooMany',
    'Another picture is being sent.',
    'Wait until it is here, or call `picture.cancel` where it is your own.',
  ],
  'picture.no-upload': [
    'condition',
    'No such picture is being sent; it may have taken too long.',
    'Begin again with `picture.begin`.',
  ],
  'picture.wrong-part': [
    'invalidParams',
    'The part does not follow the one before it, or a part is missing.',
    'Go on at `received`.',
  ],
  'picture.too-many': [
    'condition',
    'Too many pictures of the name are beside the prop file.',
    'Delete those that you no longer need.',
  ],
  'picture.not-saved': [
    'internal',
    'The picture cannot be saved.',
    'Do as the reason says, then try again.',
  ],
  'version.unknown': [
    'noSuchThing',
    'That version is not kept.',
    '`prop.history` lists those that are.',
  ],
  'symptom.wrong': [
    'invalidParams',
    'Channels of that kind do not have the symptom.',
    'Give one that the reason names.',
  ],

  // --- boards and drivers ---------------------------------------------------------------------------
  'board.unreachable': [
    'condition',
    'A board cannot be reached, so nobody can tell whether its relay is on.',
    'Fix the board, then reset.',
  ],
  'board.not-simulated': [
    'condition',
    'The board is not simulated, or may not be set from outside.',
    'Use `driver: sim`, on a daemon that listens on this machine alone.',
  ],
  'sim.not-local': [
    'notAuthorised',
    'Simulated boards are set only on this machine.',
    'Start the daemon with `--listen 127.0.0.1:7420`.',
  ],
  'driver.no-library': [
    'noSuchThing',
    "The driver's library is not there or does not start.",
    'Install it as the reason says; `sinew doctor` looks at everything.',
  ],
  'driver.wrong-machine': [
    'noSuchThing',
    'The driver does not work on this machine.',
    'Use the driver that the reason names.',
  ],
  'driver.no-chip': [
    'noSuchThing',
    'The chip is not there or does not answer.',
    "Check its wiring and the board's configuration; see `sinew doctor`.",
  ],
  'driver.no-pin': [
    'noSuchThing',
    'The pin is not there, is taken, or cannot do this.',
    'Use another pin.',
  ],
  'driver.no-access': [
    'noSuchThing',
    "The daemon's user may not use the device.",
    'Do as the reason says.',
  ],
  'driver.setting': [
    'invalidParams',
    'A setting of the board is not available.',
    'Set it as the reason says.',
  ],
  'driver.envelope': [
    'outOfLimits',
    'The pulse envelope is wider than what the driver can send.',
    'Set `envelopeUs` within `allowedUs`.',
  ],
  'sim.no-sense': [
    'noSuchThing',
    'Nothing of that name is measured on the board.',
    'Use one that the reason names.',
  ],
  'sim.no-battery': [
    'noSuchThing',
    'A simulated battery is that of a rail that has one.',
    'Name a rail with a battery.',
  ],
  'sim.no-wire': [
    'noSuchThing',
    'A simulated bad crimp is in a wire along which a drop is measured.',
    'Name one of the wires on the way to a measured voltage.',
  ],
  'sim.no-servo': [
    'noSuchThing',
    'A simulated plant, or a simulated hand, is for a servo that is not on the board.',
    'Name one of its servos.',
  ],
  'sim.no-input': [
    'noSuchThing',
    'There is no input on the pin.',
    'Use one that the reason names.',
  ],

  'sound.unreadable': [
    'condition',
    'The file of a sound is missing or cannot be decoded.',
    'Do as the reason says.',
  ],
  'sound.unknown': ['noSuchThing', 'There is no such sound.', 'The reason suggests a name.'],

  // --- the daemon itself -----------------------------------------------------------------------------
  'daemon.fault': ['internal', 'A fault in Sinew.', 'Report it, with the log.'],
  'daemon.second': [
    'condition',
    'Another daemon has the state, the board or the port.',
    'End that one, or give this one others.',
  ],
  'core.no-tick': [
    'condition',
    'The core has shown no tick since the prop file changed.',
    'Ask again in a second.',
  ],
  'service.dead': [
    'internal',
    'The prop-file service has died and is starting again.',
    'Try again in a moment.',
  ],
  'service.late': [
    'internal',
    'The prop-file service has not answered in time.',
    'Ask again later.',
  ],
  'service.busy': [
    'tooMany',
    'Too many questions wait for the prop-file service.',
    'Ask again when they are answered.',
  ],
  'service.memory': [
    'condition',
    'Working it out needs more memory than the daemon may take.',
    'Do it on a laptop: `sinew budget`, `sinew check`.',
  ],
  'state.not-saved': ['internal', 'The state cannot be saved.', 'Check the disk.'],
  'safe-plan.not-saved': [
    'internal',
    'The plan for sinew-safe-levels cannot be written.',
    'Make its folder writable.',
  ],
  'systemd.silent': [
    'internal',
    'The daemon cannot tell systemd that it is alive.',
    'Run `install.sh` of the release again.',
  ],

  // --- backups ---------------------------------------------------------------------------------------
  'backup.unusable': [
    'invalidParams',
    'The archive is damaged, or is not a backup that this Sinew can read.',
    'Do as the reason says.',
  ],
  'backup.exists': [
    'condition',
    'There are files already where the prop would be restored; nothing was written.',
    'Give another file, or `--replace`.',
  ],
  'backup.running': [
    'condition',
    'A daemon runs this prop; nothing was written.',
    'End the daemon, then restore.',
  ],
  'backup.too-large': [
    'outOfLimits',
    'The files of the prop are too large for a backup.',
    'Make the sounds shorter, or save them as FLAC, OGG or MP3.',
  ],

  'daemon.other-prop': [
    'condition',
    'The daemon runs another prop than that of the file.',
    'Give the daemon of this prop with `--host`.',
  ],

  // --- the command line -------------------------------------------------------------------------------
  'command.unknown-name': [
    'noSuchThing',
    'There is no such thing in the prop.',
    'The reason suggests a name.',
  ],
  'command.not-confirmed': [
    'condition',
    'The question was not answered with yes.',
    'Nothing to do.',
  ],
  'command.interrupted': [
    'condition',
    'The command was interrupted.',
    'Reset before the prop moves again.',
  ],
  'command.usage': [
    'invalidParams',
    'The command line cannot be understood.',
    '`sinew help` lists everything.',
  ],
  'link.unreachable': [
    'link',
    'No daemon answers at the address.',
    'Start sinewd there, or give its address.',
  ],
  'link.lost': ['link', 'The link to the daemon was lost.', 'See the journal for what was done.'],
  'command.cannot-write': ['internal', 'The result cannot be written.', 'Give another file.'],
} as const satisfies Record<`${string}.${string}`, readonly [ErrorName, string, string]>;

/** The stable code of a refusal. */
export type RefusalCode = keyof typeof REFUSALS;
