/*
 * Words for somebody who dialyses by day: what the bedside says of a night is said so instead. The English text of the
 * night is the key everywhere; a test finds one that is missing here.
 */

/** For the gatherer of words alone. @param {string} words */
const wording = (words) => words;

/** [what is said by night, what by day] @type {[string, string][]} */
const PAIRS = [
  ["Longer tonight", wording("Longer this time")],
  ["Not ready for a night without a network", wording("Not ready for a treatment without a network")],
  [
    "Without a network this phone could not open your night again. Keep this page open and the paper sheet at " +
      "hand. Touch to see what is missing.",
    wording(
      "Without a network this phone could not open your treatment again. Keep this page open and the paper " +
        "sheet at hand. Touch to see what is missing.",
    ),
  ],
  [
    "The prescription changed after this night was begun. Look at what changed.",
    wording("The prescription changed after this treatment was begun. Look at what changed."),
  ],
  ["To tonight", wording("To today")],
  ["Tonight", wording("Today")],
  [
    "Do it before the first treatment: the home screen has a storage of its own, and a night begun here is not " +
      "in it. Here, what is kept is cleared when the page was not opened for seven days; there it is not.",
    wording(
      "Do it before the first treatment: the home screen has a storage of its own, and a treatment begun here " +
        "is not in it. Here, what is kept is cleared when the page was not opened for seven days; there it is not.",
    ),
  ],
  [
    "The unit's computer has not looked through this night yet. The answer comes here and under “Past nights”.",
    wording(
      "The unit's computer has not looked through this treatment yet. The answer comes here and under “Past " +
        "treatments”.",
    ),
  ],
  [
    "Something in this night is on the unit's list: somebody will look at it.",
    wording("Something in this treatment is on the unit's list: somebody will look at it."),
  ],
  [
    "Somebody at the unit has looked at what was noticed in this night.",
    wording("Somebody at the unit has looked at what was noticed in this treatment."),
  ],
  [
    "The unit's computer compared this night's numbers, events and checks with your limits, and put nothing on " +
      "the unit's list. No person has looked at it.",
    wording(
      "The unit's computer compared this treatment's numbers, events and checks with your limits, and put " +
        "nothing on the unit's list. No person has looked at it.",
    ),
  ],
  [
    "This is this phone's own arithmetic. The unit's figures, and whether it looks at this night, come when " +
      "there is a network.",
    wording(
      "This is this phone's own arithmetic. The unit's figures, and whether it looks at this treatment, come " +
        "when there is a network.",
    ),
  ],
  ["Your night", wording("Your treatment")],
  ["Past nights", wording("Past treatments")],
  ["Whose night is it?", wording("Whose treatment is it?")],
  [
    "Without the PIN nobody can open what is kept here, the unit neither. What the unit has already is safe. A " +
      "night that was not sent is lost: if the PIN comes back to you, it is still here.",
    wording(
      "Without the PIN nobody can open what is kept here, the unit neither. What the unit has already is safe. " +
        "A treatment that was not sent is lost: if the PIN comes back to you, it is still here.",
    ),
  ],
  [
    "There is no network: without it this phone would have no prescription. Use the paper sheet tonight.",
    wording("There is no network: without it this phone would have no prescription. Use the paper sheet today."),
  ],
  ["Given tonight", wording("Given today")],
  ["Nights", wording("Treatments")],
  ["Tonight's speed", wording("Today's speed")],
  [
    "No fluid to take off was worked out for tonight. Ask the unit, or go back and weigh.",
    wording("No fluid to take off was worked out for today. Ask the unit, or go back and weigh."),
  ],
  ["Everything of this night", wording("Everything of this treatment")],
  ["A night without a start", wording("A treatment without a start")],
  [
    "This night is not among the last thirty on this phone.",
    wording("This treatment is not among the last thirty on this phone."),
  ],
  ["No nights yet.", wording("No treatments yet.")],
  ["All nights", wording("All treatments")],
  ["Enter a night from paper", wording("Enter a treatment from paper")],
  [
    "The unit cannot be reached, and this night is not on this phone.",
    wording("The unit cannot be reached, and this treatment is not on this phone."),
  ],
  ["There is no such night that you may see.", wording("There is no such treatment that you may see.")],
  ["This night", wording("This treatment")],
  [
    "A treatment is under way. It stays as it is; go on with it under “Tonight”.",
    wording("A treatment is under way. It stays as it is; go on with it under “Today”."),
  ],
  [
    "For a night that you wrote on the paper sheet: one page, in the order of the sheet. The record says that " +
      "it came from paper.",
    wording(
      "For a treatment that you wrote on the paper sheet: one page, in the order of the sheet. The record says " +
        "that it came from paper.",
    ),
  ],
  ["Begin a night from paper", wording("Begin a treatment from paper")],
  ["Night of {when}", wording("Treatment of {when}")],
  ["A night on this phone cannot be read", wording("A treatment on this phone cannot be read")],
  [
    "The phone's storage gave it back damaged. It is kept as it is, and nothing of it was sent since. Take it " +
      "out as a file and give that to the unit, and write the night from memory or paper.",
    wording(
      "The phone's storage gave it back damaged. It is kept as it is, and nothing of it was sent since. Take it " +
        "out as a file and give that to the unit, and write the treatment from memory or paper.",
    ),
  ],
  [
    "By the unit's clock it is {server}, by this phone's {phone}: {far} h apart. Times you entered stay as they " +
      "are; the unit keeps the difference beside the record. Set the phone's clock, and look over the times of " +
      "tonight.",
    wording(
      "By the unit's clock it is {server}, by this phone's {phone}: {far} h apart. Times you entered stay as " +
        "they are; the unit keeps the difference beside the record. Set the phone's clock, and look over the " +
        "times of today.",
    ),
  ],
  ["To take off: not worked out tonight", wording("To take off: not worked out today")],
  ["New version, after this night.", wording("New version, after this treatment.")],
  [
    "The browser cleared what was kept here, perhaps because room ran short or the page was not used for long. " +
      "What the unit has is safe; a night that was not sent is gone.",
    wording(
      "The browser cleared what was kept here, perhaps because room ran short or the page was not used for " +
        "long. What the unit has is safe; a treatment that was not sent is gone.",
    ),
  ],
  [
    "This phone keeps the record, and your night opens without a network. Nothing needs to be done.",
    wording("This phone keeps the record, and your treatment opens without a network. Nothing needs to be done."),
  ],
  [
    "The record is kept on this phone, but without a network your night could not be opened again.",
    wording("The record is kept on this phone, but without a network your treatment could not be opened again."),
  ],
  ["What a night without a network needs", wording("What a treatment without a network needs")],
  [
    "Print a sheet now and keep it beside the machine, for the night on which the phone fails.",
    wording("Print a sheet now and keep it beside the machine, for the day on which the phone fails."),
  ],
  ["Tonight's prescription", wording("Today's prescription")],
  [
    "This is a record, not an alarm: nobody watches it through the night.",
    wording("This is a record, not an alarm: nobody watches it while you treat."),
  ],
  ["A night is begun: {night}.", wording("A treatment is begun: {night}.")],
  ["Begin tonight's treatment", wording("Begin today's treatment")],
  ["In {n} nights it was {low} to {high}.", wording("In {n} treatments it was {low} to {high}.")],
  [
    "After treatment you weighed {low} to {high} {unit} in {n} nights.",
    wording("After treatment you weighed {low} to {high} {unit} in {n} treatments."),
  ],
  [
    "After treatment you weighed {low} to {high} {unit} in {n} nights; your target now is {target} {unit}.",
    wording(
      "After treatment you weighed {low} to {high} {unit} in {n} treatments; your target now is {target} {unit}.",
    ),
  ],
  [
    "In {over} of {n} nights fluid came off faster than your limit.",
    wording("In {over} of {n} treatments fluid came off faster than your limit."),
  ],
  [
    "In none of {n} nights did fluid come off faster than your limit.",
    wording("In none of {n} treatments did fluid come off faster than your limit."),
  ],
  [
    "In the last ten nights it was {n} higher than before.",
    wording("In the last ten treatments it was {n} higher than before."),
  ],
  [
    "In the last ten nights it was {n} lower than before.",
    wording("In the last ten treatments it was {n} lower than before."),
  ],
  [
    "In the last ten nights it was the same as before.",
    wording("In the last ten treatments it was the same as before."),
  ],
  [
    "The last known weekly dose was {value}, on {day}. It is known only for nights with bloods.",
    wording("The last known weekly dose was {value}, on {day}. It is known only for treatments with bloods."),
  ],
  [
    "Your last {n} nights. Ask the unit what they mean for you.",
    wording("Your last {n} treatments. Ask the unit what they mean for you."),
  ],
  [
    "higher than in each of the last {n} nights ({low} to {high})",
    wording("higher than in each of the last {n} treatments ({low} to {high})"),
  ],
  [
    "lower than in each of the last {n} nights ({low} to {high})",
    wording("lower than in each of the last {n} treatments ({low} to {high})"),
  ],
  [
    "as in the last {n} nights: {low} to {high}, middle {middle}",
    wording("as in the last {n} treatments: {low} to {high}, middle {middle}"),
  ],
  ["Night", wording("Treatment")],
];
export const BY_DAY = new Map(PAIRS);
