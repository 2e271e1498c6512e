from django.db import migrations, models

KINDS = [
    ('keep', 'Keep'), ('set_aside', 'Set Aside'), ('correct', 'Correct'), ('move', 'Move'), ('ask_reread', 'Ask Reread'),
    ('split_variant', 'Split Variant'), ('merge_variants', 'Merge Variants'), ('publish', 'Publish'), ('hold', 'Hold'),
    ('withdraw_revision', 'Withdraw Revision'), ('suspend', 'Suspend'), ('set_aside_account', 'Set Aside Account'),
    ('confirm_design', 'Confirm Design'), ('edit_design', 'Edit Design'), ('merge_designs', 'Merge Designs'),
    ('merge_parts', 'Merge Parts'), ('settle_dispute', 'Settle Dispute'), ('supersede', 'Supersede'),
    ('end_moderating', 'End Moderating'), ('undo', 'Undo'),
]
CODES = [
    ('sheet_disputed', 'Sheet Disputed'), ('decision_proposed', 'Decision Proposed'), ('decision_in_force', 'Decision In Force'),
    ('decision_undone', 'Decision Undone'), ('reread_asked', 'Reread Asked'), ('reread_due', 'Reread Due'),
    ('dispute_answered', 'Dispute Answered'), ('dispute_settled', 'Dispute Settled'), ('chart_changed', 'Chart Changed'),
    ('revision_withdrawn', 'Revision Withdrawn'), ('account_suspended', 'Account Suspended'), ('account_back', 'Account Back'),
    ('role_proposed', 'Role Proposed'), ('moderating_ended', 'Moderating Ended'), ('invitation_waits', 'Invitation Waits'),
]


def names_for_moderators(apps, schema_editor):
    """The desk decides about an account under its pseudonym: so far only who had sent something had one."""
    contributor = apps.get_model('registry', 'Contributor')
    for user in apps.get_model('registry', 'User').objects.filter(groups__name='moderators', contributor=None):
        contributor.objects.create(user=user)


def known(field, words):
    return models.CheckConstraint(condition=models.Q((f'{field}__in', [word for word, _ in words])), name=f'{"decision" if field == "kind" else "notice"}_{field}_known')


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0018_clock_runs'),
    ]

    operations = [
        migrations.AddField(
            model_name='invitation',
            name='needs_second',
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddField(
            model_name='invitation',
            name='agreed_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='invitation',
            name='opens_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.RemoveConstraint(model_name='decision', name='decision_kind_known'),
        migrations.AlterField(model_name='decision', name='kind', field=models.CharField(choices=KINDS, max_length=20)),
        migrations.AddConstraint(model_name='decision', constraint=known('kind', KINDS)),
        migrations.RemoveConstraint(model_name='notice', name='notice_code_known'),
        migrations.AlterField(model_name='notice', name='code', field=models.CharField(choices=CODES, max_length=20)),
        migrations.AddConstraint(model_name='notice', constraint=known('code', CODES)),
        migrations.CreateModel(
            name='CodeUsed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('digest', models.CharField(max_length=64, unique=True)),
                ('at', models.DateTimeField(db_index=True)),
            ],
        ),
        migrations.RunPython(names_for_moderators, migrations.RunPython.noop),
    ]
