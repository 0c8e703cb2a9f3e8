/*
 * What libical reads in a calendar file: one line for each event, and how the file stands with RFC 5545's and
 * RFC 5546's restrictions.
 *
 *   event <TAB> uid <TAB> start <TAB> end <TAB> alarm <TAB> summary <TAB> description
 *   faults <TAB> number of properties and parameters that libical could not read
 *   restrictions <TAB> 1 if the file keeps all restrictions, else 0
 *
 * Instants are seconds since 1970 in UTC, or the word "floating" for a time that carries no zone. Texts are in
 * hexadecimal, so that no character of theirs can be taken for part of this form. "-" stands for what is missing.
 */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>

static char *whole_file(const char *name)
{
    FILE *file = fopen(name, "rb");
    if (!file || fseek(file, 0, SEEK_END)) {
        perror(name);
        exit(2);
    }
    long size = ftell(file);
    rewind(file);
    char *text = calloc((size_t)size + 1, 1);
    if (!text || fread(text, 1, (size_t)size, file) != (size_t)size) {
        perror(name);
        exit(2);
    }
    fclose(file);
    return text;
}

static void show_time(struct icaltimetype when)
{
    if (icaltime_is_null_time(when))
        printf("\t-");
    else if (!when.zone)
        printf("\tfloating");
    else
        printf("\t%lld", (long long)icaltime_as_timet_with_zone(when, when.zone));
}

static void show_text(const char *text)
{
    printf("\t");
    if (!text)
        printf("-");
    else
        for (; *text; text++)
            printf("%02x", (unsigned char)*text);
}

static struct icaltimetype alarm_of(icalcomponent *event)
{
    icalcomponent *alarm = icalcomponent_get_first_component(event, ICAL_VALARM_COMPONENT);
    icalproperty *property = alarm ? icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY) : NULL;
    if (!property)
        return icaltime_null_time();
    struct icaltriggertype trigger = icalproperty_get_trigger(property);
    if (!icaltime_is_null_time(trigger.time))
        return trigger.time;
    return icaltime_add(icalcomponent_get_dtstart(event), trigger.duration);
}

int main(int count, char **names)
{
    if (count != 2)
        return 2;
    char *text = whole_file(names[1]);
    icalcomponent *calendar = icalparser_parse_string(text);
    if (!calendar) {
        fprintf(stderr, "libical reads no calendar in this file\n");
        return 1;
    }
    for (icalcomponent *event = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT); event;
         event = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT)) {
        const char *uid = icalcomponent_get_uid(event);
        printf("event\t%s", uid ? uid : "-");
        show_time(icalcomponent_get_dtstart(event));
        show_time(icalcomponent_get_dtend(event));
        show_time(alarm_of(event));
        show_text(icalcomponent_get_summary(event));
        show_text(icalcomponent_get_description(event));
        printf("\n");
    }
    printf("faults\t%d\n", icalcomponent_count_errors(calendar));
    printf("restrictions\t%d\n", icalrestriction_check(calendar));
    icalcomponent_free(calendar);
    free(text);
    return 0;
}
