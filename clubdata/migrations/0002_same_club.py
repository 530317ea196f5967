"""The composite keys, once every unique pair that they refer to exists."""

from django.db import migrations

import clubdata.models.base


class Migration(migrations.Migration):

    dependencies = [("clubdata", "0001_initial")]

    operations = [
        migrations.AddConstraint(
            model_name='feedspelling',
            constraint=clubdata.models.base.SameClub(field='entry', name='feed_spelling_same_club_entry', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='hookbaitspelling',
            constraint=clubdata.models.base.SameClub(field='entry', name='hook_bait_spelling_same_club_entry', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='memberrole',
            constraint=clubdata.models.base.SameClub(field='member', name='member_role_same_club_member', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='methodspelling',
            constraint=clubdata.models.base.SameClub(field='entry', name='method_spelling_same_club_entry', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='pegdepth',
            constraint=clubdata.models.base.SameClub(field='peg', name='peg_depth_same_club_peg', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='peghazard',
            constraint=clubdata.models.base.SameClub(field='peg', name='peg_hazard_same_club_peg', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='conditions',
            constraint=clubdata.models.base.SameClub(field='session', name='conditions_same_club_session', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='rigtypespelling',
            constraint=clubdata.models.base.SameClub(field='entry', name='rig_type_spelling_same_club_entry', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='sessionpart',
            constraint=clubdata.models.base.SameClub(field='session', name='session_part_same_club_session', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='sessionpart',
            constraint=clubdata.models.base.SameClub(field='method', name='session_part_same_club_method', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='sessionpart',
            constraint=clubdata.models.base.SameClub(field='hook_bait', name='session_part_same_club_hook_bait', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='sessionpart',
            constraint=clubdata.models.base.SameClub(field='feed', name='session_part_same_club_feed', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='sessionpart',
            constraint=clubdata.models.base.SameClub(field='rig_type', name='session_part_same_club_rig_type', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='catchline',
            constraint=clubdata.models.base.SameClub(field='session', name='catch_line_same_club_session', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='catchline',
            constraint=clubdata.models.base.SameClub(field='species', name='catch_line_same_club_species', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='speciesspelling',
            constraint=clubdata.models.base.SameClub(field='entry', name='species_spelling_same_club_entry', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='return',
            constraint=clubdata.models.base.SameClub(field='member', name='return_same_club_member', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='return',
            constraint=clubdata.models.base.SameClub(field='water', name='return_same_club_water', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='return',
            constraint=clubdata.models.base.SameClub(field='peg', name='return_same_club_peg', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='return',
            constraint=clubdata.models.base.SameClub(field='peg', name='return_peg_on_its_water', shared='water'),
        ),
        migrations.AddConstraint(
            model_name='return',
            constraint=clubdata.models.base.SameClub(field='match', name='return_same_club_match', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='peg',
            constraint=clubdata.models.base.SameClub(field='water', name='peg_same_club_water', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=clubdata.models.base.SameClub(field='water', name='match_same_club_water', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='waterevent',
            constraint=clubdata.models.base.SameClub(field='water', name='water_event_same_club_water', shared='club'),
        ),
    ]
