// What ical.js reads in a calendar file, as a JSON list with one entry for each event.
// Called as: node icaljs.mjs WHERE-ICAL.JS-IS FILE
// Instants are seconds since 1970 in UTC, or the word "floating" for a time that carries no zone.
import { readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';

const ICAL = (await import(pathToFileURL(process.argv[2]).href)).default;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(process.argv[3], 'utf-8')));

const seconds = (time) => (time.zone === ICAL.Timezone.localTimezone ? 'floating' : time.toUnixTime());

function alarmOf(event) {
  const alarm = event.component.getFirstSubcomponent('valarm');
  if (!alarm) return null; // what is done or cancelled does not ring
  const trigger = alarm.getFirstPropertyValue('trigger');
  if (trigger instanceof ICAL.Time) return seconds(trigger);
  const at = event.startDate.clone();
  at.addDuration(trigger);
  return seconds(at);
}

const seen = calendar.getAllSubcomponents('vevent').map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    start: seconds(event.startDate),
    end: seconds(event.endDate),
    alarm: alarmOf(event),
    summary: event.summary,
    description: event.description,
  };
});
process.stdout.write(JSON.stringify(seen));
