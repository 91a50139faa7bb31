// Reads iCalendar text with ical.js and prints each event as plain JSON: node read_calendar.mjs LIBRARY < feed.ics
import { readFileSync } from "node:fs";

const ICAL = (await import(process.argv[2])).default;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
for (const zone of calendar.getAllSubcomponents("vtimezone")) {
  ICAL.TimezoneService.register(new ICAL.Timezone(zone));
}
const moment = (time) => (time.isDate ? time.toString() : time.toUnixTime());
const events = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    summary: event.summary,
    description: event.description,
    status: component.getFirstPropertyValue("status"),
    sequence: event.sequence,
    starts: moment(event.startDate),
    ends: moment(event.endDate),
  };
});
process.stdout.write(JSON.stringify(events));
